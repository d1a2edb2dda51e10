"""The sheet of an event: who is ready, in which order, what may come and what came."""

from api.messages import say
from api.messages.numbers import localised
from api.models.events.forecast import EventOutlook, EventReview, TeamOutlook
from api.models.events.inspections import EventReadiness, TeamReadiness
from api.models.events.runs import EventResults, Placed, RunOrderRead
from api.models.reporting.team_sheet import EventSheetRead
from api.services.core import cautions
from api.services.reporting.documents import plots
from api.services.reporting.documents.blocks import Builder, Document, Heading, Items, Table, Text
from api.services.reporting.documents.words import day, milliwatts_within, shortened

BOX = "☐"
#: Whether a result lay within the range that was said, as the review's table says it.
WITHIN = {True: "within", False: "outside", None: "no_result"}


def event_document(sheet: EventSheetRead) -> Document:
    """Return an event's sheet: readiness, order, outlook, results."""
    made = Builder()
    _readiness(made, sheet.readiness)
    _order(made, sheet.run_order)
    if sheet.results.runs:
        _results(made, sheet.results)
        _review(made, sheet.review)
    _outlook(made, sheet.outlook)
    ready = sheet.readiness
    subtitle = say(
        "report_event.subtitle" if ready.days_left >= 0 else "report_event.subtitle_over",
        day=day(ready.held_on),
        count=ready.days_left,
        as_of=day(ready.as_of),
    )
    return Document(
        ready.event_name, subtitle, ready.as_of, made.blocks, cautions.event(), "event-sheet"
    )


def _readiness(made: Builder, ready: EventReadiness) -> None:
    made.add(Heading(say("report_event.ready")))
    if ready.reason:
        made.add(Text(say("report_event.ready_not_known", reason=ready.reason), "callout"))
        return
    made.add(Text(_counts(ready), "callout"))
    links = [_inspection(ready.event_id, team) for team in ready.teams]
    columns = (
        say("report_column.team"),
        say("report_column.build"),
        say("report_event.status"),
        say("report_event.next"),
    )
    made.add(Table(columns, [_team(team) for team in ready.teams], links=links))
    made.add(Heading(say("report_event.blades"), 3))
    known = [team for team in ready.teams if team.safety]
    if known:
        made.add(_safety_table(known))


def _counts(ready: EventReadiness) -> str:
    """Return how many teams are how ready."""
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
    """Return where a team's build is inspected; where there is none, its team's page."""
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
        f"{_status(team.status)}\n{still_open}",
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
    found = team.safety
    if found is None:
        return (team.team_name, "–", "–", "–", "–")
    pull = (
        say("report_event.weigh_first")
        if found.pull_test_n is None
        else f"{found.pull_test_n:.0f} N"
    )
    return (
        team.team_name,
        say("report_event.a_minute", turns=found.runaway_speed_rpm),
        f"{found.runaway_tip_speed_m_s:.0f} m/s",
        pull,
        say("report_event.guard_needed" if found.needs_guard else "report_event.no_guard_needed"),
    )


def _order(made: Builder, order: RunOrderRead | None) -> None:
    made.add(Heading(say("report_event.order")))
    if order is None:
        made.add(Text(say("report_event.not_drawn")))
        return
    made.add(Text(say("report_event.drawn", seed=order.seed), "quiet"))
    rows = [(str(slot.position), slot.words, str(slot.attempt), BOX, "") for slot in order.slots]
    columns = (
        say("report_column.place"),
        say("report_event.whose_turn"),
        say("report_event.attempt"),
        say("report_event.ran"),
        say("report_event.remarks"),
    )
    made.add(Table(columns, rows))


def _outlook(made: Builder, outlook: EventOutlook) -> None:
    made.add(Heading(say("report_event.outlook")))
    if outlook.reason:
        made.add(Text(say("report_event.nobody_placed", reason=outlook.reason), "callout"))
    else:
        made.add(Text(say("report_event.outlook_how", wind=outlook.wind_speed_m_s), "quiet"))
    if outlook.among_shown:
        made.add(Text(say("report_event.among_shown"), "callout"))
    made.add(plots.chances(outlook.teams))
    if outlook.teams:
        made.add(_chances(outlook.teams))
    apart = {team.build_id for team in outlook.teams if team.status == "not_yet"}
    within = [pair.sentence for pair in outlook.pairs if pair.a in apart]
    if within:
        made.add(Heading(say("report_event.apart"), 3), Items(shortened(within)))
    if outlook.missing_links:
        made.add(Heading(say("report_event.links"), 3))
        made.add(Items([link.sentence for link in outlook.missing_links]))


def _chances(teams: list[TeamOutlook]) -> Table:
    columns = (
        say("report_column.team"),
        say("report_column.build"),
        say("report_event.range"),
        say("report_event.says"),
    )
    return Table(columns, [_chance(team) for team in teams])


def _chance(team: TeamOutlook) -> tuple[str, ...]:
    span = milliwatts_within(team.range_80_w) if team.range_80_w else say("report_event.not_placed")
    return team.team_name, str(team.build_number), span, team.sentence


def _results(made: Builder, results: EventResults) -> None:
    made.add(Heading(say("report_event.results")), Text(results.sentence, "callout"))
    made.add(Items([drift.sentence for drift in results.drifts]))
    if results.places:
        columns = (
            say("report_column.team"),
            say("report_column.place"),
            say("report_event.best_run"),
            say("report_event.of_runs"),
        )
        made.add(Table(columns, [_place(each) for each in results.places]))


def _place(place: Placed) -> tuple[str, ...]:
    runs = say("count.runs", count=place.runs)
    return place.team_name, str(place.place), _power(place.best_w), runs


def _power(power_w: float | None) -> str:
    return "–" if power_w is None else f"{localised(1000 * power_w, '.1f')} mW"


def _review(made: Builder, review: EventReview) -> None:
    """Add how the forecast did, beside each result."""
    made.add(Heading(say("report_event.review")), Text(review.sentence, "callout"))
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
    made.add(Table(columns, rows) if rows else None)
