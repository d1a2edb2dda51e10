"""Make the page for a team: its power with interval, its changes, its next test."""

from api.messages import say
from api.models.reporting.team_sheet import TeamSheet
from api.models.season.progress import BuildProgress, TeamProgress
from api.models.season.reports import SeasonReport, TeamReport
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
from api.services.reporting.documents.season import (
    add_left_out,
    how_to_read,
    trials_and_sessions,
)
from api.services.reporting.documents.words import day, milliwatts

SWEEPS_SHOWN = 2  # newest of each kind


def team_document(sheet: TeamSheet) -> Document:
    """Return the page of a team from its progress, its part of the season report and its events."""
    progress, report, team = sheet.progress, sheet.report, sheet.team
    builder = Builder()
    _number(builder, progress, report, team)
    builder.add(Heading(say("report_team.next")), Text(progress.next_test.sentence, "callout"))
    builder.add(*team_story(sheet))
    subtitle = say(
        "report_team.subtitle",
        season=report.name,
        day=day(progress.as_of),
        trials=team.trials,
        stored=team.trials_stored,
        count=team.sessions,
    )
    team_cautions = cautions.everything()
    return Document(
        progress.name, subtitle, progress.as_of, builder.blocks, team_cautions, "team-page"
    )


def team_story(sheet: TeamSheet) -> list[Block]:
    """Return a team's season: power over time, changes, events, sweeps, builds."""
    progress, builder = sheet.progress, Builder()
    _way(builder, progress)
    if progress.changes:
        builder.add(Heading(say("report_team.changes")), plots.changes(progress))
        builder.add(Items([change.sentence for change in progress.changes]))
    if sheet.events:
        builder.add(Heading(say("report_team.at_event")))
        builder.add(Items([each.sentence for each in sheet.events]))
    _sweeps(builder, progress)
    if progress.builds:
        builder.add(Heading(say("report_team.builds")), _builds(progress.builds))
    add_left_out(builder, sheet.team.left_out)
    return builder.blocks


def _number(
    builder: Builder, progress: TeamProgress, report: SeasonReport, team: TeamReport
) -> None:
    builder.add(Heading(say("report_team.number")))
    if not progress.builds:
        builder.add(Text(say("report_team.not_known", reason=progress.reason), "callout"))
        return
    current = progress.builds[-1]
    power = milliwatts(current.normalised_power_w, current.interval_w)
    latest = team.current.latest_at if team.current else None
    of = words_of_build(current.number, latest, progress.current_build_number)
    key, fair = "report_team.power", ""
    if current.fair_power_w and current.fair_interval_w:
        key = "report_team.power_and_fair"
        fair = milliwatts(current.fair_power_w, current.fair_interval_w)
    build = f"{of[:1].upper()}{of[1:]}"
    builder.add(Text(say(key, build=build, power=power, fair=fair), "callout"))
    cube = say("report_team.cube", power=current.normalised_power_cubic_w * 1000)
    builder.add(Text(f"{how_to_read(report)} {cube}", "quiet"))


def _way(builder: Builder, progress: TeamProgress) -> None:
    builder.add(Heading(say("report_team.season")), plots.power_over_season(progress))
    builder.add(Items([progress.trend.sentence, progress.plateau.sentence]))


def _sweeps(builder: Builder, progress: TeamProgress) -> None:
    """Add the newest sweeps of each kind, each with its plot."""
    if not (progress.pitch or progress.load or progress.wind):
        return
    builder.add(Heading(say("report_team.sweeps")))
    shown = [
        *((sweep, plots.pitch_curve(sweep)) for sweep in progress.pitch[-SWEEPS_SHOWN:]),
        *((sweep, plots.load_curve(sweep)) for sweep in progress.load[-SWEEPS_SHOWN:]),
        *((sweep, plots.wind_sweep(sweep)) for sweep in progress.wind[-SWEEPS_SHOWN:]),
    ]
    for sweep, plot in shown:  # a plot already has the sentence below it
        builder.add(plot or Text(sweep.sentence))


def _builds(builds: list[BuildProgress]) -> Table:
    rows = [
        (
            say("build.number", number=build.number),
            milliwatts(build.normalised_power_w, build.interval_w),
            milliwatts(build.fair_power_w, build.fair_interval_w)
            if build.fair_power_w and build.fair_interval_w
            else say("report_words.no_reference_run"),
            trials_and_sessions(build),
            _best(build),
        )
        for build in builds
    ]
    columns = (
        say("report_column.build"),
        say("report_team.own_power"),
        say("report_team.fair_power"),
        say("report_column.based_on"),
        say("report_column.best_seen"),
    )
    return Table(columns, rows, links=[f"/builds/{build.build_id}" for build in builds])


def _best(build: BuildProgress) -> str:
    """Return the best trial, and its power corrected for being the best of several."""
    best = f"{build.best_seen_w * 1000:.0f} mW"
    if build.trials == 1:
        return best
    less_luck = say("report_team.less_luck", power=build.best_seen_debiased_w * 1000)
    return f"{best}\n{less_luck}"
