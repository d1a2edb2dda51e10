"""Draw the plots of reports from calculated numbers, each with its numbers as a table."""

import math
from collections.abc import Mapping, Sequence

from api.messages import say
from api.messages.numbers import localised
from api.models.events.forecast import TeamOutlook
from api.models.season.comparison import BenchScoreRead
from api.models.season.progress import ChangeRead, LoadRead, PitchRead, TeamProgress, WindRead
from api.models.season.reports import FairPlace
from api.services.reporting.charts.axes import (
    Axis,
    axis,
    days_axis,
    growth_axis,
    power_axis,
    roomy_axis,
    signed_axis,
    values_axis,
)
from api.services.reporting.charts.chart import Chart, rows_chart
from api.services.reporting.documents.blocks import Plot, Table
from api.services.reporting.documents.words import day, milliwatts

MW = 1000.0
CURVE = 40  # points of a drawn curve
SIGMA_PT = 0.10  # [-], of ln power, by which benches are scored
PLATEAU = math.log(1 / 0.97)  # [-], of ln power, at the ends of a pitch plateau
LEAST_POINTS = 2
LEAST_FACTOR = 0.01  # a hundredth of the power before is as good as none
QUARTERS = (0.0, 25.0, 50.0, 75.0, 100.0)  # [%], marks of an axis of chances


def power_over_season(progress: TeamProgress) -> Plot | None:
    """Return a team's power from session to session; each build is named by what it changed."""
    sessions = progress.sessions
    if not sessions:
        return None
    days = [session.started_at.timestamp() for session in sessions]
    spans = [session.interval_w for session in sessions]
    chart = Chart(
        say("plot.season", team=progress.name),
        say("plot.season_how", count=len(sessions)),
        days_axis([session.started_at for session in sessions]),
        power_axis([MW * end for span in spans for end in span], "mW"),
    )
    numbers = [session.build_number for session in sessions]
    factors = _factors(progress)
    for at, number in enumerate(numbers):
        if at == 0 or numbers[at - 1] != number:
            chart.upright(days[at], *_words_of_build(number, factors.get(number)))
    for x, session, number in zip(days, sessions, numbers, strict=True):
        power = milliwatts(session.normalised_power_w, session.interval_w)
        words = say("plot.of_session", day=day(session.started_at), number=number, power=power)
        chart.whisker(x, MW * session.interval_w[0], MW * session.interval_w[1], number - 1)
        chart.point(x, MW * session.normalised_power_w, number - 1, words)
    rows = [
        (day(session.started_at), str(number),
         milliwatts(session.normalised_power_w, session.interval_w), str(session.trials))
        for session, number in zip(sessions, numbers, strict=True)
    ]  # fmt: skip
    columns = (
        say("plot.session"),
        say("report_column.build"),
        say("plot.power"),
        say("plot.trials"),
    )
    return Plot(chart, Table(columns, rows))


def _factors(progress: TeamProgress) -> dict[int, str]:
    """Return what each build changed, by its number."""
    numbers = {build.build_id: build.number for build in progress.builds}
    return {
        numbers[change.to_build_id]: change.factor
        for change in progress.changes
        if change.factor and change.to_build_id in numbers
    }


def _words_of_build(number: int, factor: str | None) -> tuple[str, ...]:
    """Return the words above the first session of a build, the longest first."""
    return (f"{number}: {factor}", str(number)) if factor else (str(number),)


def changes(progress: TeamProgress) -> Plot | None:
    """Return what each change brought, as a factor of power with its interval."""
    numbers = {build.build_id: build.number for build in progress.builds}
    known = [each for each in progress.changes if each.to_build_id in numbers]
    if not known:
        return None
    spans = [tuple(1 + end / 100 for end in each.interval_pct) for each in known]
    spans = [(max(low, LEAST_FACTOR), high) for low, high in spans]
    names = [_name_of_change(each, numbers) for each in known]
    chart = rows_chart(
        say("plot.changes"),
        say("plot.changes_how"),
        names,
        growth_axis([1.0, *(end for span in spans for end in span)], say("plot.changes_axis")),
    )
    chart.upright(1.0)
    rows = []
    for row, (name, each, (low, high)) in enumerate(zip(names, known, spans, strict=True)):
        factor = max(LEAST_FACTOR, 1 + each.effect_pct / 100)
        value, least, most = (localised(number, ".3g") for number in (factor, low, high))
        words = say("plot.factor", value=value, low=least, high=most)
        chart.span(row, low, high)
        chart.point(factor, row, words=f"{name}: {words}")
        rows.append((name, words))
    return Plot(chart, Table((say("plot.change_column"), say("plot.factor_column")), rows))


def _name_of_change(change: ChangeRead, numbers: Mapping[str, int]) -> str:
    older, newer = numbers.get(change.from_build_id, "?"), numbers[change.to_build_id]
    if change.factor is None:
        return say("plot.change_row_unnamed", older=older, newer=newer)
    return say("plot.change_row", older=older, newer=newer, factor=change.factor)


def pitch_curve(sweep: PitchRead) -> Plot | None:
    """Return power over pitch, with the fitted peak and its plateau."""
    if len(sweep.points) < LEAST_POINTS:
        return None
    pitches = [x for x, _ in sweep.points]
    chart = Chart(
        say("plot.pitch", number=sweep.number),
        sweep.sentence,
        roomy_axis(pitches, say("plot.pitch_axis")),
        axis([MW * y for _, y in sweep.points], "mW"),
    )
    if sweep.plateau_deg and sweep.best_pitch_deg and sweep.peak_power_w:
        chart.band(*sweep.plateau_deg)
        chart.line(_peak(sweep, min(pitches), max(pitches)), is_dashed=True)
        chart.upright(sweep.best_pitch_deg, f"{localised(sweep.best_pitch_deg, '.1f')}°")
    for x, y in sweep.points:
        chart.point(x, MW * y, words=f"{localised(x, '.3g')}°: {localised(MW * y, '.3g')} mW")
    return Plot(chart, _readings(say("plot.pitch_column"), "°", sweep.points))


def _peak(sweep: PitchRead, low: float, high: float) -> list[tuple[float, float]]:
    """Return the fitted parabola of ln power, from its peak and its plateau."""
    best, peak = sweep.best_pitch_deg or 0.0, sweep.peak_power_w or 0.0
    _, end = sweep.plateau_deg or (best, best)
    by_ratio = low > 0 and best > 0
    reach = math.log(end / best) if by_ratio else end - best
    points = []
    for at in range(CURVE + 1):
        x = low + (high - low) * at / CURVE
        distance = (math.log(x / best) if by_ratio else x - best) / reach
        points.append((x, MW * peak * math.exp(-PLATEAU * distance**2)))
    return points


def load_curve(sweep: LoadRead) -> Plot | None:
    """Return power over load, with the curve of the fitted source."""
    if len(sweep.points) < LEAST_POINTS:
        return None
    loads = [x for x, _ in sweep.points]
    chart = Chart(
        say("plot.load", number=sweep.number),
        sweep.sentence,
        values_axis(loads, say("plot.load_axis")),
        axis([MW * y for _, y in sweep.points], "mW", from_zero=True),
    )
    volts, ohms = sweep.source_voltage_v, sweep.source_resistance_ohm
    if volts and ohms:
        chart.line(_source(volts, ohms, chart.x), is_dashed=True)
    if sweep.matched_load_ohm and chart.x.low < sweep.matched_load_ohm < chart.x.high:
        chart.upright(sweep.matched_load_ohm, f"{sweep.matched_load_ohm:.0f} Ω")
    for x, y in sweep.points:
        chart.point(x, MW * y, words=f"{localised(x, '.3g')} Ω: {localised(MW * y, '.3g')} mW")
    return Plot(chart, _readings(say("plot.load_column"), "Ω", sweep.points))


def _source(volts: float, ohms: float, across: Axis) -> list[tuple[float, float]]:
    low, high = math.log(across.low), math.log(across.high)
    loads = [math.exp(low + (high - low) * at / CURVE) for at in range(CURVE + 1)]
    return [(load, MW * volts**2 * load / (load + ohms) ** 2) for load in loads]


def wind_sweep(sweep: WindRead) -> Plot | None:
    """Return power over wind, both logarithmic, with the fitted power law."""
    if len(sweep.points) < LEAST_POINTS:
        return None
    speeds, powers = [x for x, _ in sweep.points], [MW * y for _, y in sweep.points]
    chart = Chart(
        say("plot.wind", number=sweep.number),
        sweep.sentence,
        values_axis([round(x, 2) for x in speeds], say("plot.wind_axis")),
        growth_axis(powers, "mW"),
    )
    if sweep.fitted_exponent is not None:
        mid_x = math.exp(sum(map(math.log, speeds)) / len(speeds))
        mid_y = math.exp(sum(map(math.log, powers)) / len(powers))
        ends = (min(speeds), max(speeds))
        law = [(x, mid_y * (x / mid_x) ** sweep.fitted_exponent) for x in ends]
        chart.line(law, is_dashed=True)
    for x, y in zip(speeds, powers, strict=True):
        chart.point(x, y, words=f"{localised(x, '.3g')} m/s: {localised(y, '.3g')} mW")
    return Plot(chart, _readings(say("plot.wind_column"), "m/s", sweep.points))


def _readings(name: str, unit: str, points: Sequence[tuple[float, float]]) -> Table:
    rows = [(f"{localised(x, '.3g')} {unit}", f"{localised(MW * y, '.3g')} mW") for x, y in points]
    power = say("plot.power" if unit == "m/s" else "plot.power_at_reference")
    return Table((name, power), rows)


def comparison(places: Sequence[FairPlace]) -> Plot | None:
    """Return the comparable powers of builds with their intervals, by group."""
    with_power = [place for place in places if place.interval_w and place.fair_power_w]
    if not with_power:
        return None
    groups = list(dict.fromkeys(place.group for place in with_power))
    chart = rows_chart(
        say("plot.comparison"),
        say("plot.comparison_of_groups" if len(groups) > 1 else "plot.comparison_how"),
        [place.name for place in with_power],
        axis([MW * end for place in with_power for end in place.interval_w or ()], "mW",
             from_zero=True),
    )  # fmt: skip
    for row, place in enumerate(with_power):
        low, high = place.interval_w or (0.0, 0.0)
        group = groups.index(place.group)
        chart.span(row, MW * low, MW * high, group)
        power = milliwatts(place.fair_power_w or 0.0, (low, high))
        chart.point(MW * (place.fair_power_w or 0.0), row, group, f"{place.name}: {power}")
    rows = [
        (place.name, str(groups.index(place.group) + 1),
         milliwatts(place.fair_power_w or 0.0, place.interval_w or (0.0, 0.0)), str(place.trials))
        for place in with_power
    ]  # fmt: skip
    columns = (
        say("report_column.team"),
        say("plot.group"),
        say("plot.fair_power"),
        say("plot.trials"),
    )
    return Plot(chart, Table(columns, rows))


def bench_scores(scores: Sequence[BenchScoreRead]) -> Plot | None:
    """Return the bias of each bench with its uncertainty; lines mark 20 and 30 %."""
    if not scores:
        return None
    limits = [100 * math.expm1(SIGMA_PT * z) for z in (-3, -2, 2, 3)]
    reach = max(1.1 * limits[-1], *(abs(score.effect_pct) + 2 * score.u_pct for score in scores))
    chart = rows_chart(
        say("plot.benches"),
        say("plot.benches_how"),
        [score.name for score in scores],
        signed_axis(reach, say("plot.benches_axis")),
    )
    for at in (0.0, *limits):
        chart.upright(at)
    for row, score in enumerate(scores):
        uncertainty = 2 * score.u_pct
        chart.span(row, score.effect_pct - uncertainty, score.effect_pct + uncertainty)
        bias = say("report_words.percent", value=f"{score.effect_pct:+.0f}")
        chart.point(score.effect_pct, row, words=f"{score.name}: {bias}")
    rows = [
        (
            score.name,
            say("report_words.percent", value=f"{score.effect_pct:+.0f}"),
            say("report_words.percent", value=f"± {2 * score.u_pct:.0f}"),
            say(f"report_verdict.{score.verdict}"),
        )
        for score in scores
    ]
    columns = (
        say("plot.bench"),
        say("plot.bench_reads"),
        say("plot.bench_doubt"),
        say("plot.bench_verdict"),
    )
    return Plot(chart, Table(columns, rows))


def chances(teams: Sequence[TeamOutlook]) -> Plot | None:
    """Return each team's chances at an event: to be first, among three, in the upper half."""
    placed = [team for team in teams if team.first is not None]
    if not placed:
        return None
    chart = rows_chart(
        say("plot.chances"),
        say("plot.chances_how"),
        [team.team_name for team in placed],
        Axis(-3.0, 103.0, say("plot.chances_axis"), [(at, f"{at:.0f}") for at in QUARTERS]),
    )
    for row, team in enumerate(placed):
        for series, percent in enumerate(_percents(team)):
            words = say("report_words.percent", value=f"{percent:.0f}")
            chart.point(percent, row, series, f"{team.team_name}: {words}")
    rows = [
        (
            team.team_name,
            *(say("report_words.percent", value=f"{each:.0f}") for each in _percents(team)),
        )
        for team in placed
    ]
    columns = (
        say("report_column.team"),
        say("plot.first"),
        say("plot.first_three"),
        say("plot.upper_half"),
    )
    return Plot(chart, Table(columns, rows))


def _percents(team: TeamOutlook) -> list[float]:
    """Return a team's chances in percent: to be first, among three, in the upper half."""
    return [100 * (each or 0.0) for each in (team.first, team.top_three, team.top_half)]
