"""The sheet of an event: who is ready, in which order, what may come and what came."""

from api.models.events.forecast import EventOutlook, EventReview, TeamOutlook
from api.models.events.inspections import EventReadiness, TeamReadiness
from api.models.events.runs import EventResults, Placed, RunOrderRead
from api.models.reporting.team_sheet import EventSheetRead
from api.services.core import cautions
from api.services.reporting.documents import plots
from api.services.reporting.documents.blocks import Builder, Document, Heading, Items, Table, Text
from api.services.reporting.documents.words import counted, day, shortened

BOX = "☐"


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
    when = counted(ready.days_left, "day") + " left" if ready.days_left >= 0 else "over"
    subtitle = f"Event of {day(ready.held_on)}, {when}, as of {day(ready.as_of)}."
    return Document(
        ready.event_name, subtitle, ready.as_of, made.blocks, cautions.EVENT, "event-sheet"
    )


def _readiness(made: Builder, ready: EventReadiness) -> None:
    made.add(Heading("Who is ready"))
    if ready.reason:
        made.add(Text(f"Not known: {ready.reason}. Give the event one.", "callout"))
        return
    counts = ", ".join(f"{count} {state}" for state, count in ready.counts.items() if count)
    made.add(Text(f"By the rules “{ready.rule_set}”: {counts or 'no team yet'}.", "callout"))
    links = [_inspection(ready.event_id, team) for team in ready.teams]
    rows = [_team(team) for team in ready.teams]
    made.add(Table(("Team", "Build", "Status", "Next"), rows, links=links))
    made.add(Heading("What each blade must hold", 3))
    known = [team for team in ready.teams if team.safety]
    made.add(
        Table(
            ("Team", "Run-away speed", "Tip speed", "Pull test", "Full guard"),
            [_safety(team) for team in known],
        )
        if known
        else None
    )


def _inspection(event_id: str, team: TeamReadiness) -> str:
    """Return where a team's build is inspected; where there is none, its team's page."""
    if team.build_id is None:
        return f"/teams/{team.team_id}"
    return f"/events/{event_id}/builds/{team.build_id}"


def _team(team: TeamReadiness) -> tuple[str, ...]:
    build = "–" if team.build_number is None else str(team.build_number)
    missing = sum(check.outcome != "pass" for check in team.checks)
    return (
        team.team_name,
        build,
        f"{team.status}\n{missing} of {len(team.checks)} open",
        team.next_action,
    )


def _safety(team: TeamReadiness) -> tuple[str, ...]:
    found = team.safety
    if found is None:
        return (team.team_name, "–", "–", "–", "–")
    pull = "weigh a blade first" if found.pull_test_n is None else f"{found.pull_test_n:.0f} N"
    return (
        team.team_name,
        f"{found.runaway_speed_rpm:.0f} a minute",
        f"{found.runaway_tip_speed_m_s:.0f} m/s",
        pull,
        "needed" if found.needs_guard else "not by these figures",
    )


def _order(made: Builder, order: RunOrderRead | None) -> None:
    made.add(Heading("Order of runs"))
    if order is None:
        made.add(Text("Not drawn yet."))
        return
    made.add(Text(f"Drawn with seed {order.seed}: the same seed gives the same order.", "quiet"))
    rows = [(str(slot.position), slot.words, str(slot.attempt), BOX, "") for slot in order.slots]
    made.add(Table(("Place", "Whose turn", "Attempt", "Ran", "Volts, remarks"), rows))


def _outlook(made: Builder, outlook: EventOutlook) -> None:
    made.add(Heading("What may come"))
    if outlook.reason:
        made.add(Text(f"Nobody can be placed yet: {outlook.reason}.", "callout"))
    else:
        made.add(
            Text(
                "Drawn from what was known on the morning of the day; a range holds the result in "
                f"eight cases of ten, in {outlook.wind_speed_m_s:.1f} m/s. No order is certain.",
                "quiet",
            )
        )
    if outlook.among_shown:
        words = "Teams of schools that do not share their numbers take part too. Chances are "
        made.add(
            Text(f"{words}among the teams shown here, and say nothing of the others.", "callout")
        )
    made.add(plots.chances(outlook.teams))
    if outlook.teams:
        made.add(Table(("Team", "Build", "Range", "Says"), [_chance(t) for t in outlook.teams]))
    apart = {team.build_id for team in outlook.teams if team.status == "not_yet"}
    within = [pair.sentence for pair in outlook.pairs if pair.a in apart]
    if within:
        made.add(Heading("Within what nothing joins to the others", 3), Items(shortened(within)))
    if outlook.missing_links:
        made.add(Heading("What would join the others", 3))
        made.add(Items([link.sentence for link in outlook.missing_links]))


def _chance(team: TeamOutlook) -> tuple[str, ...]:
    span = "not placed"
    if team.range_80_w:
        low, high = (1000 * each for each in team.range_80_w)
        span = f"{low:.0f} to {high:.0f} mW"
    return team.team_name, str(team.build_number), span, team.sentence


def _results(made: Builder, results: EventResults) -> None:
    made.add(Heading("What came"), Text(results.sentence, "callout"))
    made.add(Items([drift.sentence for drift in results.drifts]))
    if results.places:
        rows = [_place(each) for each in results.places]
        made.add(Table(("Team", "Place", "Best run", "Of"), rows))


def _place(place: Placed) -> tuple[str, ...]:
    best = "–" if place.best_w is None else f"{1000 * place.best_w:.1f} mW"
    return place.team_name, str(place.place), best, counted(place.runs, "run")


def _review(made: Builder, review: EventReview) -> None:
    """Add how the forecast did, beside each result."""
    made.add(Heading("How the forecast did"), Text(review.sentence, "callout"))
    rows = [
        (
            team.team_name,
            f"{1000 * team.range_80_w[0]:.0f} to {1000 * team.range_80_w[1]:.0f} mW",
            "–" if team.result_w is None else f"{1000 * team.result_w:.1f} mW",
            {True: "within", False: "outside", None: "no result"}[team.within],
        )
        for team in review.teams
    ]
    made.add(Table(("Team", "Range said", "Result", "Was"), rows) if rows else None)
