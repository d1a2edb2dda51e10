"""Make the document that tells how well a season measures."""

from collections.abc import Sequence

from api.messages import say
from api.messages.numbers import localised
from api.models.season.quality import (
    ControlChartRead,
    InfluenceRead,
    InteractionRead,
    PairChangeRead,
    PrecisionRead,
    SeasonQuality,
)
from api.services.core import cautions, wording
from api.services.reporting.documents import quality_plots
from api.services.reporting.documents.blocks import (
    Builder,
    Document,
    Heading,
    Items,
    Table,
    Text,
)
from api.services.reporting.documents.words import day, percent


def quality_document(quality: SeasonQuality) -> Document:
    """Return how well a season measures: its rotor, its repeatability, what decides its order."""
    builder = Builder()
    builder.add(Text(say("quality.how_to_read"), "quiet"))
    if quality.reason:
        builder.add(Text(quality.reason))
    _rotor(builder, quality)
    if quality.precision:
        builder.add(Heading(say("quality.precision")), _precision(quality.precision))
    if quality.influence or quality.influence_left_out:
        builder.add(Heading(say("quality.influence")), Text(say("quality.influence_how"), "quiet"))
        builder.add(Text(quality.influence_left_out) if quality.influence_left_out else None)
        builder.add(_influence(quality.influence) if quality.influence else None)
    if quality.interaction:
        _interaction(builder, quality.interaction)
    _charts(builder, quality.charts)
    return Document(
        say("quality.title", season=quality.name),
        say("quality.as_of", day=day(quality.as_of)),
        quality.as_of,
        builder.blocks,
        cautions.foot(),
        "season-quality",
    )


def add_chart(builder: Builder, chart: ControlChartRead) -> None:
    """Add a control chart with its sentence."""
    builder.add(Text(chart.sentence), quality_plots.control_chart(chart))


def _rotor(builder: Builder, quality: SeasonQuality) -> None:
    builder.add(Heading(say("quality.rotor")))
    if quality.drift:
        builder.add(Text(quality.drift.sentence, "callout"))
    if quality.charts:
        builder.add(Items([chart.sentence for chart in quality.charts]))
    else:
        builder.add(Text(say("quality.no_chart")))


def _charts(builder: Builder, charts: Sequence[ControlChartRead]) -> None:
    if charts:
        builder.add(Heading(say("quality.charts")), Text(say("quality.chart_how"), "quiet"))
    for chart in charts:
        builder.add(Heading(chart.bench, 3))
        add_chart(builder, chart)


def _precision(levels: Sequence[PrecisionRead]) -> Table:
    rows = [
        (
            say(f"quality.level_{level.level}"),
            "–" if level.limit_pct is None else _percents(level.limit_pct),
            level.sentence,
            str(level.degrees_of_freedom),
        )
        for level in levels
    ]
    columns = (
        say("quality.two_trials"),
        say("quality.limit"),
        say("quality.meaning"),
        say("quality.freedom"),
    )
    return Table(columns, rows)


def _influence(influences: Sequence[InfluenceRead]) -> Table:
    rows = [
        (
            influence.bench,
            influence.sentence,
            f"{percent(influence.largest_shift_pct)}\n{influence.largest_shift_team}",
        )
        for influence in influences
    ]
    columns = (say("plot.bench"), say("quality.without_it"), say("quality.largest_shift"))
    return Table(columns, rows)


def _interaction(builder: Builder, interaction: InteractionRead) -> None:
    builder.add(Heading(say("quality.interaction")), Text(interaction.sentence))
    if interaction.pairs and not interaction.is_estimated:
        builder.add(_pairs(interaction.pairs, interaction.other_sd_pct))


def _pairs(pairs: Sequence[PairChangeRead], other_pct: float) -> Table:
    rows = [
        (
            say("quality.pair", a=pair.a_name, b=pair.b_name),
            wording.share(pair.probability),
            wording.share(pair.probability_then),
        )
        for pair in pairs
    ]
    columns = (
        say("quality.who_is_ahead"),
        say("quality.probability"),
        say("quality.probability_then", spread=other_pct),
    )
    return Table(columns, rows)


def _percents(value: float) -> str:
    return say("report_words.percent", value=localised(value, ".0f" if value >= 10 else ".1f"))
