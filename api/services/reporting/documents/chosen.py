"""Make the document that compares a few chosen teams."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from api.messages import say
from api.models.season.comparison import PairRead
from api.models.season.progress import LoadRead, PitchRead, TeamProgress
from api.services.core import cautions
from api.services.core.wording import share
from api.services.reporting.charts.axes import days_axis, growth_axis, power_axis, roomy_axis
from api.services.reporting.charts.chart import Chart, rows_chart
from api.services.reporting.charts.colours import distinguished
from api.services.reporting.chosen_teams import ChosenTeam, ChosenTeams
from api.services.reporting.documents.blocks import (
    Builder,
    Document,
    Heading,
    Items,
    Plot,
    Table,
    Text,
)
from api.services.reporting.documents.words import day, milliwatts

MW = 1000.0
Own = tuple[ChosenTeam, TeamProgress]
Curve = Callable[[TeamProgress], PitchRead | LoadRead | None]


def chosen_document(chosen: ChosenTeams) -> Document:
    """Return the comparison of chosen teams: pairs, powers, growth, sweeps, changes, next test."""
    colours = distinguished([team.series for team in chosen.teams])
    teams = [replace(team, series=each) for team, each in zip(chosen.teams, colours, strict=True)]
    builder = Builder()
    name_of = {team.build.build_id: team.build.team_name for team in chosen.teams}
    sentences = [_pair(pair, name_of) for pair in chosen.pairs]
    builder.add(Text(sentences[0], "answer") if sentences else None)
    builder.add(Items(sentences[1:]), Text(say("compare.pair_hint"), "quiet"))
    builder.add(*_titled("compare.power", _powers(teams)))
    own = [(team, team.progress) for team in teams if team.progress is not None]
    builder.add(*_titled("compare.growth", _growth(own)))
    builder.add(*_titled("compare.pitch", _curves("pitch", own, _newest_pitch)))
    builder.add(*_titled("compare.load", _curves("load", own, _newest_load)))
    _changes(builder, teams)
    builder.add(Heading(say("compare.next")), Items(_settling(chosen.pairs, teams)))
    results = [say("compare.of_team", team=team.build.team_name, words=words)
               for team in teams for words in team.at_events]  # fmt: skip
    if results:
        builder.add(Heading(say("compare.at_event")), Items(results))
    names = ", ".join(team.build.team_name for team in teams)
    return Document(
        say("compare.title"), f"{chosen.season.name}: {names}", datetime.now(UTC),
        builder.blocks, cautions.foot(), "comparison",
    )  # fmt: skip


def _titled(key: str, plot: Plot | None) -> list[Heading | Plot]:
    return [] if plot is None else [Heading(say(key)), plot]


def _pair(pair: PairRead, names: Mapping[str, str]) -> str:
    """Return the sentence on a pair, with the probability even where it is too close to call."""
    chance = pair.probability_a_ahead
    if pair.statement != "too_close" or chance is None:
        return pair.sentence
    team, sure = (pair.a, chance) if chance >= 0.5 else (pair.b, 1 - chance)
    return say("compare.chance", sentence=pair.sentence, team=names[team], sure=share(sure))


def _powers(teams: Sequence[ChosenTeam]) -> Plot | None:
    """Return the comparable powers, one row a team."""
    known = [each for each in teams if each.build.fair_power_w and each.build.interval_w]
    if not known:
        return None
    ends = [MW * end for each in known for end in each.build.interval_w or ()]
    names = [each.build.team_name for each in known]
    chart = rows_chart(
        say("compare.power"), say("compare.power_how"), names, power_axis(ends, "mW")
    )
    rows = []
    for row, each in enumerate(known):
        low, high = each.build.interval_w or (0.0, 0.0)
        power = milliwatts(each.build.fair_power_w or 0.0, (low, high))
        chart.span(row, MW * low, MW * high, each.series)
        words = say("compare.of_team", team=each.build.team_name, words=power)
        chart.point(MW * (each.build.fair_power_w or 0.0), row, each.series, words)
        rows.append((each.build.team_name, each.school.name, power))
    columns = (say("report_column.team"), say("rank.school"), say("compare.power"))
    return Plot(chart, Table(columns, rows))


def _growth(own: Sequence[Own]) -> Plot | None:
    """Return the power of each team from session to session, on one scale of factors."""
    lines = [
        (team, [(each.started_at, MW * each.adjusted_power_w)
                for each in progress.sessions if each.adjusted_power_w])
        for team, progress in own
    ]  # fmt: skip
    lines = [(team, points) for team, points in lines if points]
    if not lines:
        return None
    every = [point for _, points in lines for point in points]
    chart = Chart(
        say("compare.growth"), say("compare.growth_how"),
        days_axis([when for when, _ in every]), growth_axis([power for _, power in every], "mW"),
    )  # fmt: skip
    rows = []
    for team, points in lines:
        name = team.build.team_name
        chart.line([(when.timestamp(), power) for when, power in points], team.series)
        for when, power in points:
            words = f"{name}, {day(when)}: {power:.3g} mW"
            chart.point(when.timestamp(), power, team.series, words)
            rows.append((name, day(when), f"{power:.3g} mW"))
        chart.end_label(points[-1][1], name, team.series)
    columns = (say("report_column.team"), say("plot.session"), say("plot.power"))
    return Plot(chart, Table(columns, rows))


def _newest_pitch(progress: TeamProgress) -> PitchRead | None:
    return next((each for each in reversed(progress.pitch) if len(each.points) > 1), None)


def _newest_load(progress: TeamProgress) -> LoadRead | None:
    return next((each for each in reversed(progress.load) if len(each.points) > 1), None)


def _curves(kind: str, own: Sequence[Own], newest: Curve) -> Plot | None:
    """Return the newest sweeps of the teams in one chart."""
    swept = [(team, sweep.points) for team, progress in own if (sweep := newest(progress))]
    if not swept:
        return None
    every = [point for _, points in swept for point in points]
    across = [x for x, _ in every]
    named = say(f"plot.{kind}_axis")
    chart = Chart(
        say(f"compare.{kind}"), say(f"compare.{kind}_how"),
        growth_axis(across, named) if kind == "load" else roomy_axis(across, named),
        power_axis([MW * power for _, power in every], "mW"),
    )  # fmt: skip
    rows = []
    for team, points in swept:
        means = _means(points)
        chart.line(means, team.series)
        for x, power in means:
            words = f"{team.build.team_name}, {x:g}: {power:.3g} mW"
            chart.point(x, power, team.series, words)
            rows.append((team.build.team_name, f"{x:g}", f"{power:.3g} mW"))
        chart.end_label(means[-1][1], team.build.team_name, team.series)
    columns = (say("report_column.team"), say(f"plot.{kind}_column"), say("plot.power"))
    return Plot(chart, Table(columns, rows))


def _means(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the geometric mean of the powers at each setting, in the order of settings."""
    by_setting: dict[float, list[float]] = {}
    for x, power_w in points:
        by_setting.setdefault(x, []).append(math.log(MW * power_w))
    return [(x, math.exp(sum(logs) / len(logs))) for x, logs in sorted(by_setting.items())]


def _changes(builder: Builder, teams: Sequence[ChosenTeam]) -> None:
    builder.add(Heading(say("compare.changes")))
    for team in teams:
        builder.add(Heading(team.build.team_name, 3))
        if team.progress is None:
            builder.add(Text(say("compare.hidden"), "quiet"))
        elif team.progress.changes:
            builder.add(Items([change.sentence for change in team.progress.changes]))
        else:
            builder.add(Text(say("compare.no_change")))


def _settling(pairs: Sequence[PairRead], teams: Sequence[ChosenTeam]) -> list[str]:
    """Return how each pair that is too close to call could be decided."""
    names = {team.build.build_id: team.build.team_name for team in teams}
    open_pairs = [pair for pair in pairs if pair.statement in ("too_close", "not_yet")]
    if not open_pairs:
        return [say("compare.settled")]
    return [
        say("compare.closer", a=names[pair.a], b=names[pair.b], plan=say("compare.test_both"))
        for pair in open_pairs
    ]
