"""A page that a team can be handed: our number, how sure, what changed, what to try next."""

from api.models.reporting.team_sheet import TeamSheet
from api.models.season.progress import BuildProgress, TeamProgress
from api.models.season.reports import SeasonReport, TeamReport
from api.services.core import cautions
from api.services.registry.current_builds import words_of_build
from api.services.reporting.documents import plots
from api.services.reporting.documents.blocks import Builder, Document, Heading, Items, Table, Text
from api.services.reporting.documents.season import HOW_TO_READ
from api.services.reporting.documents.words import counted, day, milliwatts

SWEEPS_SHOWN = 2  # newest of each kind


def team_document(sheet: TeamSheet) -> Document:
    """Return the page of a team from its progress, its part of the season report and its events."""
    progress, report, team, events = sheet.progress, sheet.report, sheet.team, sheet.events
    made = Builder()
    _number(made, progress, report, team)
    if events:
        made.add(Heading("At the event"), Items([each.sentence for each in events]))
    made.add(Heading("What to try next"), Text(progress.next_test.sentence, "callout"))
    _way(made, progress)
    if progress.changes:
        made.add(Heading("What each change brought"))
        made.add(Items([change.sentence for change in progress.changes]))
    _sweeps(made, progress)
    if progress.builds:
        made.add(Heading("Our builds"), _builds(progress.builds))
    _left_out(made, team)
    subtitle = (
        f"{report.name}, as of {day(progress.as_of)}. {team.trials} of {team.trials_stored} stored "
        f"trials count, from {counted(team.sessions, 'session')}."
    )
    return Document(progress.name, subtitle, progress.as_of, made.blocks, cautions.ALL, "team-page")


def _number(made: Builder, progress: TeamProgress, report: SeasonReport, team: TeamReport) -> None:
    made.add(Heading("Our number"))
    if not progress.builds:
        made.add(Text(f"Not known yet: {progress.reason}.", "callout"))
        return
    current = progress.builds[-1]
    power = milliwatts(current.normalised_power_w, current.interval_w)
    latest = team.current.latest_at if team.current else None
    of = words_of_build(current.number, latest, progress.current_build_number)
    sentence = f"{of[:1].upper()}{of[1:]}: {power} at our bench"
    if current.fair_power_w and current.fair_interval_w:
        fair = milliwatts(current.fair_power_w, current.fair_interval_w)
        sentence += f"; {fair} on the scale that all schools share"
    made.add(Text(f"{sentence}.", "callout"))
    wind = HOW_TO_READ.format(
        wind=report.reference_wind_speed_m_s, density=report.reference_air_density_kg_m3
    )
    cube = current.normalised_power_cubic_w * 1000
    made.add(Text(f"{wind} The textbook's cube rule would give {cube:.0f} mW.", "quiet"))


def _way(made: Builder, progress: TeamProgress) -> None:
    made.add(Heading("Our season so far"), plots.power_over_season(progress))
    made.add(Items([progress.trend.sentence, progress.plateau.sentence]))


def _sweeps(made: Builder, progress: TeamProgress) -> None:
    """Add the newest sweeps of each kind, each with its plot."""
    if not (progress.pitch or progress.load or progress.wind):
        return
    made.add(Heading("What our sweeps found"))
    shown = [
        *((found, plots.pitch_curve(found)) for found in progress.pitch[-SWEEPS_SHOWN:]),
        *((found, plots.load_curve(found)) for found in progress.load[-SWEEPS_SHOWN:]),
        *((found, plots.wind_sweep(found)) for found in progress.wind[-SWEEPS_SHOWN:]),
    ]
    for found, plot in shown:  # a plot says the same sentence under it
        made.add(plot or Text(found.sentence))


def _builds(builds: list[BuildProgress]) -> Table:
    rows = [
        (
            f"Build {build.number}",
            milliwatts(build.normalised_power_w, build.interval_w),
            milliwatts(build.fair_power_w, build.fair_interval_w)
            if build.fair_power_w and build.fair_interval_w
            else "no reference run yet",
            f"{counted(build.trials, 'trial')}, {counted(build.sessions, 'session')}",
            _best(build),
        )
        for build in builds
    ]
    columns = ("Build", "At our bench", "On the shared scale", "Based on", "Best seen")
    return Table(columns, rows, links=[f"/builds/{build.build_id}" for build in builds])


def _best(build: BuildProgress) -> str:
    """Return the largest trial, and what it is without the luck of being the largest of several."""
    best = f"{build.best_seen_w * 1000:.0f} mW"
    if build.trials == 1:
        return best
    return f"{best}\n{build.best_seen_debiased_w * 1000:.0f} mW less the luck of the largest"


def _left_out(made: Builder, team: TeamReport) -> None:
    if team.left_out:
        lines = [f"{counted(left.trials, 'trial')}: {left.sentence}." for left in team.left_out]
        made.add(Heading("Stored and not counted"), Items(lines))
