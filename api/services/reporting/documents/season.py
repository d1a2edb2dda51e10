"""Make the document of a season report, complete or for one school."""

from collections.abc import Sequence
from itertools import groupby

from api.messages import say
from api.models.season.comparison import BenchScoreRead
from api.models.season.reports import (
    BenchOrder,
    BenchPlace,
    FairPlace,
    FigureRead,
    LeftOut,
    OrganisationReport,
    SeasonReport,
    TeamReport,
)
from api.services.core import cautions
from api.services.registry.current_builds import words_of_build
from api.services.reporting.documents import plots
from api.services.reporting.documents.blocks import (
    Block,
    Builder,
    Document,
    Heading,
    Items,
    Table,
    Text,
)
from api.services.reporting.documents.words import ahead, day, milliwatts, percent

ONLY_BENCH = "bench.alone"


def season_document(report: SeasonReport, benches: list[BenchScoreRead]) -> Document:
    """Return a season report with its plots, tables and the trials left out."""
    builder = Builder()
    builder.add(Text(how_to_read(report), "quiet"))
    if not report.organisations:
        builder.add(Text(say("report_season.no_team")))
    _comparison(builder, report)
    scores = score_blocks(benches)
    if scores:
        builder.add(Heading(say("report_season.benches")), *scores)
    for organisation in report.organisations:
        builder.add(Heading(organisation.name), teams_table(organisation))
    if report.benches:
        builder.add(Heading(say("report_season.within_bench")))
        builder.add(Text(say("report_season.within_bench_how"), "quiet"))
        builder.add(*(order_table(bench) for bench in report.benches))
    add_left_out(builder, report.left_out)
    return Document(
        report.name, _counts(report), report.as_of, builder.blocks, cautions.foot(), "season-report"
    )


def score_blocks(benches: Sequence[BenchScoreRead]) -> list[Block]:
    """Return the biases of benches as a plot and in sentences; nothing for a single bench."""
    plot = plots.bench_scores([each for each in benches if each.sentence_key != ONLY_BENCH])
    return [] if plot is None else [plot, Items([each.sentence for each in benches])]


def how_to_read(report: SeasonReport) -> str:
    """Return the paragraph on the reference conditions of a report and its intervals."""
    return say(
        "report_season.how_to_read",
        wind=report.reference_wind_speed_m_s,
        density=report.reference_air_density_kg_m3,
    )


def add_left_out(builder: Builder, left_out: Sequence[LeftOut]) -> None:
    """Add the number of trials that do not count, with reasons."""
    if left_out:
        builder.add(Heading(say("report_season.not_counted")), Items(left_out_lines(left_out)))


def left_out_lines(left_out: Sequence[LeftOut]) -> list[str]:
    """Return a line for each reason why trials do not count."""
    return [
        say("report_season.left_out", count=left.trials, why=left.sentence) for left in left_out
    ]


def _counts(report: SeasonReport) -> str:
    return say(
        "report_season.subtitle",
        day=day(report.as_of),
        moment=report.as_of,
        trials=report.trials,
        stored=report.trials_stored,
        count=report.sessions,
    )


def _comparison(builder: Builder, report: SeasonReport) -> None:
    fair = report.comparison
    builder.add(Heading(say("report_season.one_scale")), Text(fair.sentence, "callout"))
    builder.add(plots.comparison(fair.places))
    own = {team.team_id for school in report.organisations for team in school.teams}
    by_group = [list(places) for _, places in groupby(fair.places, lambda each: each.group)]
    shown = [each for each in by_group if len(each) > 1 or each[0].fair_power_w]
    for number, places in enumerate(shown, start=1):
        several = len(shown) > 1
        key = "report_season.of_groups" if several else "report_season.one_group"
        builder.add(_fair(places, say(key, number=number), own))
    builder.add(*(Text(words, "quiet") for words in comparison_notes(report)))


def comparison_notes(report: SeasonReport) -> list[str]:
    """Return what a reader of the comparison has to know: what it assumes, corrects and hides."""
    fair = report.comparison
    notes = [fair.assumption, report.drift.sentence if report.drift else None]
    if fair.not_shown:
        notes.append(say("report_season.not_shown", count=fair.not_shown))
    if fair.others_as_of:
        notes.append(say("report_season.others_as_of", day=day(fair.others_as_of)))
    return [words for words in notes if words]


def _fair(places: list[FairPlace], caption: str, own: set[str]) -> Table:
    rows = [
        (
            place.name,
            _range_in_words(*place.places),
            milliwatts(place.fair_power_w, place.interval_w)
            if place.fair_power_w and place.interval_w
            else say("report_words.no_reference_run"),
            f"{_named(place)}\n{say('count.trials', count=place.trials)}",
            ahead(place.ahead_of_next) if place.ahead_of_next else "–",
        )
        for place in places
    ]
    sizes = {place.group_size for place in places}
    columns = (
        say("report_column.team"),
        say("rank.place_of", count=sizes.pop()) if len(sizes) == 1 else say("report_column.place"),
        say("report_season.comparable_power"),
        say("report_season.of_which_build"),
        say("report_season.against_next"),
    )
    links = [_page_of(each.team_id) if each.team_id in own else "" for each in places]
    return Table(columns, rows, caption, links)


def _range_in_words(best: int, worst: int) -> str:
    """Return a place, or the range of places that the uncertainty leaves open."""
    return str(best) if best == worst else f"{best}–{worst}"


def _open_places(order: Sequence[BenchPlace]) -> list[tuple[int, int]]:
    """Return the range of places of each team at a bench: of all in a row too close to call."""
    ranges: list[tuple[int, int]] = []
    start = 0
    for at, place in enumerate(order):
        if not place.too_close_to_next or at == len(order) - 1:
            ranges += [(order[start].place, place.place)] * (at + 1 - start)
            start = at + 1
    return ranges


def _named(place: FairPlace | BenchPlace) -> str:
    """Return words for the build of a place."""
    current = place.untested_build_number or place.build_number
    return words_of_build(place.build_number or 0, None, current)


def _page_of(team_id: str) -> str:
    return f"/teams/{team_id}"


def teams_table(organisation: OrganisationReport) -> Table:
    """Return the figures of a school's teams."""
    columns = (
        say("report_column.team"),
        say("report_season.own_power"),
        say("report_column.based_on"),
        say("report_season.since_first"),
        say("report_season.trend"),
        say("report_season.first_and_latest"),
        say("report_column.best_seen"),
        say("report_season.last_trial"),
    )
    links = [_page_of(team.team_id) for team in organisation.teams]
    return Table(columns, [_team(team) for team in organisation.teams], links=links)


def _team(team: TeamReport) -> tuple[str, ...]:
    return (
        team.name,
        _current(team),
        _behind(team),
        _change(team),
        _trend(team),
        _first_and_latest(team),
        _best(team),
        f"{day(team.last_trial_at)}\n{say('report_season.sessions_in_all', count=team.sessions)}",
    )


def _current(team: TeamReport) -> str:
    if team.current is None:
        return say("report_season.not_known", reason=team.reason)
    cube = say("report_season.cube", power=team.current.normalised_power_cubic_w * 1000)
    build_text = words_of_build(
        team.current.build_number, team.current.latest_at, team.current_build_number
    )
    power = milliwatts(team.current.normalised_power_w, team.current.interval_w)
    return f"{power}\n{build_text}\n{cube}"


def _behind(team: TeamReport) -> str:
    based_on = trials_and_sessions(team.current) if team.current else "–"
    left_out = [say(f"report_left_out.{left.code}", count=left.trials) for left in team.left_out]
    return "\n".join([based_on, *left_out])


def trials_and_sessions(figure: FigureRead) -> str:
    """Return the numbers of trials and sessions of a figure, in words."""
    trials = say("count.trials", count=figure.trials)
    return f"{trials}, {say('count.sessions', count=figure.sessions)}"


def _change(team: TeamReport) -> str:
    if team.change is None:
        return f"–\n{team.change_reason}"
    low, high = (percent(each) for each in team.change.interval_pct)
    span = say("report_season.change_span", low=low, high=high, build=team.change.from_build_number)
    return f"{percent(team.change.change_pct)}\n{span}"


def _trend(team: TeamReport) -> str:
    verdict = say(f"report_trend.{team.trend.verdict}")
    if team.trend.slope_pct_per_week is None or team.trend.interval_pct_per_week is None:
        return f"–\n{verdict}"
    low, high = (percent(each) for each in team.trend.interval_pct_per_week)
    slope = say("report_season.a_week", change=percent(team.trend.slope_pct_per_week))
    span = say("report_season.trend_span", low=low, high=high, verdict=verdict)
    return f"{slope}\n{span}"


def _first_and_latest(team: TeamReport) -> str:
    if team.first is None or team.latest is None:
        return "–"
    return "\n".join(
        f"{milliwatts(each.normalised_power_w, each.interval_w)}, {day(each.started_at)}"
        for each in (team.first, team.latest)
    )


def _best(team: TeamReport) -> str:
    best = team.best_seen
    if best is None:
        return "–"
    key = "report_season.lucky" if best.of_trials > 1 else "report_build.named"
    of = say(key, number=best.build_number, trials=best.of_trials)
    return f"{milliwatts(best.normalised_power_w, best.interval_w)}\n{of}"


def order_table(bench: BenchOrder) -> Table:
    """Return the teams of a bench in order."""
    open_places = _open_places(bench.order)
    rows = [
        (
            place.name,
            _range_in_words(*open_places[at]),
            milliwatts(place.normalised_power_w, place.interval_within_bench_w),
            _based_on(place),
        )
        for at, place in enumerate(bench.order)
    ]
    links = [_page_of(place.team_id) for place in bench.order]
    columns = (
        say("report_column.team"),
        say("report_column.place"),
        say("report_season.power_here"),
        say("report_column.based_on"),
    )
    return Table(columns, rows, bench.name, links)


def _based_on(place: BenchPlace) -> str:
    lines = [f"{_named(place)}, {say('count.trials', count=place.trials)}"]
    if place.too_close_to_next:
        lines.append(say("report_season.too_close_to_next"))
    return "\n".join(lines)
