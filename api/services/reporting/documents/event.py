"""Make the sheet of an event: readiness, run order, forecast and results."""

from api.messages import say
from api.messages.numbers import localised
from api.models.events.forecast import EventOutlook, EventReview, TeamOutlook
from api.models.events.inspections import EventReadiness, TeamReadiness
from api.models.events.runs import EventResults, Placed, RunOrderRead
from api.models.reporting.team_sheet import EventSheetRead
from api.services.core import cautions
from api.services.core.wording import share
from api.services.registry.current_builds import words_of_build
from api.services.reporting.documents import plots
from api.services.reporting.documents.blocks import Builder, Document, Heading, Items, Table, Text
from api.services.reporting.documents.words import (
    day,
    milliwatts,
    milliwatts_within,
    shortened,
)

BOX = "☐"
#: The message keys for whether a result was within its forecast range.
WITHIN = {True: "within", False: "outside", None: "no_result"}


def event_document(sheet: EventSheetRead) -> Document:
    """Return an event's sheet: before it readiness, order and forecast; after it results first."""
    builder = Builder()
    if sheet.results.runs:
        _results(builder, sheet.results)
        _review(builder, sheet.review)
    _readiness(builder, sheet.readiness)
    _order(builder, sheet.run_order)
    _outlook(builder, sheet.outlook)
    ready = sheet.readiness
    subtitle = say(
        "report_event.subtitle" if ready.days_left >= 0 else "report_event.subtitle_over",
        day=day(ready.held_on),
        count=ready.days_left,
        as_of=day(ready.as_of),
    )
    return Document(
        ready.event_name, subtitle, ready.as_of, builder.blocks, cautions.event(), "event-sheet"
    )


def _readiness(builder: Builder, ready: EventReadiness) -> None:
    builder.add(Heading(say("report_event.ready")))
    if ready.reason:
        builder.add(Text(say("report_event.ready_not_known", reason=ready.reason), "callout"))
        return
    builder.add(Text(_counts(ready), "callout"))
    links = [_inspection(ready.event_id, team) for team in ready.teams]
    columns = (
        say("report_column.team"),
        say("report_column.build"),
        say("report_event.status"),
        say("report_event.checks"),
        say("report_event.next"),
    )
    builder.add(Table(columns, [_team(team) for team in ready.teams], links=links))
    builder.add(Heading(say("report_event.blades")))
    with_safety = [team for team in ready.teams if team.safety]
    if with_safety:
        builder.add(_safety_table(with_safety))


def _counts(ready: EventReadiness) -> str:
    """Return the number of teams for each status."""
    counts = [
        say("report_event.of_status", count=count, status=_status(status))
        for status, count in ready.counts.items()
        if count
    ]
    return say(
        "report_event.by_rules",
        rules=ready.rule_set,
        counts=", ".join(counts) or say("report_event.no_team"),
    )


def _status(status: str) -> str:
    return say(f"report_status.{status.replace(' ', '_')}")


def _inspection(event_id: str, team: TeamReadiness) -> str:
    """Return the inspection page of a team's build, or the team's page if it has no build."""
    if team.build_id is None:
        return f"/teams/{team.team_id}"
    return f"/events/{event_id}/builds/{team.build_id}"


def _team(team: TeamReadiness) -> tuple[str, ...]:
    build = "–" if team.build_number is None else str(team.build_number)
    missing = sum(check.outcome != "pass" for check in team.checks)
    still_open = say("report_event.still_open", missing=missing, checks=len(team.checks))
    return (
        team.team_name,
        build,
        _status(team.status),
        still_open,
        team.next_action,
    )


def _safety_table(teams: list[TeamReadiness]) -> Table:
    columns = (
        say("report_column.team"),
        say("report_event.runaway_speed"),
        say("report_event.tip_speed"),
        say("report_event.pull_test"),
        say("report_event.full_guard"),
    )
    return Table(columns, [_safety(team) for team in teams])


def _safety(team: TeamReadiness) -> tuple[str, ...]:
    figures = team.safety
    if figures is None:
        return (team.team_name, "–", "–", "–", "–")
    pull = (
        say("report_event.weigh_first")
        if figures.pull_test_n is None
        else f"{figures.pull_test_n:.0f} N"
    )
    return (
        team.team_name,
        say("report_event.a_minute", turns=figures.runaway_speed_rpm),
        f"{figures.runaway_tip_speed_m_s:.0f} m/s",
        pull,
        say("report_event.guard_needed" if figures.needs_guard else "report_event.no_guard_needed"),
    )


def _order(builder: Builder, order: RunOrderRead | None) -> None:
    builder.add(Heading(say("report_event.order")))
    if order is None:
        builder.add(Text(say("report_event.not_drawn")))
        return
    builder.add(Text(say("report_event.drawn", seed=order.seed), "quiet"))
    rows = [(str(slot.position), slot.words, str(slot.attempt), BOX, "") for slot in order.slots]
    columns = (
        say("report_column.place"),
        say("report_event.whose_turn"),
        say("report_event.attempt"),
        say("report_event.ran"),
        say("report_event.remarks"),
    )
    builder.add(Table(columns, rows))


def _outlook(builder: Builder, outlook: EventOutlook) -> None:
    builder.add(Heading(say("report_event.outlook")))
    if outlook.reason:
        builder.add(Text(say("report_event.nobody_placed", reason=outlook.reason), "callout"))
    else:
        builder.add(Text(say("report_event.outlook_how", wind=outlook.wind_speed_m_s), "quiet"))
    if outlook.among_shown:
        builder.add(Text(say("report_event.among_shown"), "callout"))
    builder.add(plots.chances(outlook.teams))
    if outlook.teams:
        builder.add(_chances(outlook.teams))
    unplaced = {team.build_id for team in outlook.teams if team.status == "not_yet"}
    within = [pair.sentence for pair in outlook.pairs if pair.a in unplaced]
    if within:
        builder.add(Heading(say("report_event.apart"), 3), Items(shortened(within)))
    if outlook.missing_links:
        builder.add(Heading(say("report_event.links"), 3))
        builder.add(Items([link.sentence for link in outlook.missing_links]))


def _chances(teams: list[TeamOutlook]) -> Table:
    columns = (
        say("report_column.team"),
        say("report_column.build"),
        say("report_event.expected"),
        say("plot.first"),
        say("plot.first_three"),
    )
    return Table(columns, [_chance(team) for team in teams])


def _chance(team: TeamOutlook) -> tuple[str, ...]:
    """Return the expected best run of a team and its chances, or why there are none."""
    build = str(team.build_number)
    if team.untested_build_number is not None:
        build = words_of_build(team.build_number, None, team.untested_build_number)
    if team.median_w is None or team.range_80_w is None:
        reason = say("report_event.not_placed", reason=team.reason)
        return team.team_name, build, reason, "–", "–"
    expected = milliwatts(team.median_w, team.range_80_w)
    chances = ("–" if each is None else share(each) for each in (team.first, team.top_three))
    return team.team_name, build, expected, *chances


def _results(builder: Builder, results: EventResults) -> None:
    builder.add(Heading(say("report_event.results")), Text(results.sentence, "callout"))
    builder.add(Items([drift.sentence for drift in results.drifts]))
    if results.places:
        columns = (
            say("report_column.team"),
            say("report_column.place"),
            say("report_event.best_run"),
            say("report_event.of_runs"),
        )
        builder.add(Table(columns, [_place(each) for each in results.places]))


def _place(place: Placed) -> tuple[str, ...]:
    runs = say("count.runs", count=place.runs)
    return place.team_name, str(place.place), _power(place.best_w), runs


def _power(power_w: float | None) -> str:
    return "–" if power_w is None else f"{localised(1000 * power_w, '.1f')} mW"


def _review(builder: Builder, review: EventReview) -> None:
    """Add the review of the forecast, with each result."""
    builder.add(Heading(say("report_event.review")), Text(review.sentence, "callout"))
    rows = [
        (
            team.team_name,
            milliwatts_within(team.range_80_w),
            _power(team.result_w),
            say(f"report_event.{WITHIN[team.within]}"),
        )
        for team in review.teams
    ]
    columns = (
        say("report_column.team"),
        say("report_event.range_said"),
        say("report_event.result"),
        say("report_event.was"),
    )
    builder.add(Table(columns, rows) if rows else None)
