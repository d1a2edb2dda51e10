"""A season at a glance: who leads and how surely, and what needs attention before the event."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.messages import say
from api.models.events.inspections import EventReadiness
from api.models.season.comparison import BenchScoreRead
from api.models.season.reports import FairPlace, FairTable, SeasonReport, TeamReport
from api.services.core import wording
from api.services.reporting.documents.words import percent
from api.services.trials.today import Today

MOST_NAMED = 4  # teams that are too close to call
LEADS = ("a_ahead", "a_probably_ahead")
CLEAR = ("likely_improving", "improving")


@dataclass(frozen=True, slots=True)
class Tile:
    """One figure with what it is, and the page about it."""

    figure: str
    words: str
    address: str = ""
    tone: str = ""


def who_leads(table: FairTable) -> str:
    """Return in a sentence who leads the season, as far as that is known."""
    with_power = [each for each in table.places if each.fair_power_w]
    groups = {each.group for each in with_power}
    if not with_power:
        return say("glance.no_power")
    if len(groups) > 1:
        return say("glance.several_groups", count=len(groups))
    first = with_power[0]
    if len(with_power) == 1 or first.ahead_of_next is None:
        return say("glance.only_one", name=first.name)
    if first.ahead_of_next.statement in LEADS:
        sure = wording.share(first.ahead_of_next.probability_a_ahead or 0.0)
        return say("glance.leads", name=first.name, next=with_power[1].name, sure=sure)
    return _too_close(with_power)


def _too_close(places: Sequence[FairPlace]) -> str:
    """Return the sentence on teams that may all be first."""
    names = [each.name for each in places if each.places[0] == 1]
    if len(names) > MOST_NAMED:
        return say("glance.many_too_close", count=len(names), name=names[0])
    return say("glance.too_close", names=", ".join(names[:-1]), last=names[-1])


def tiles(
    report: SeasonReport,
    waits: Today,
    ready: EventReadiness | None,
    benches: Sequence[BenchScoreRead],
) -> list[Tile]:
    """Return the figures below the sentence, as far as there is something to show."""
    shown = [
        _event(ready),
        _questions(waits),
        _ready(ready),
        _most_improved(report),
        _benches(benches),
    ]
    return [tile for tile in shown if tile is not None]


def _questions(waits: Today) -> Tile | None:
    if not waits.trials:
        return None
    if not waits.held:
        return Tile("0", say("glance.no_question"), "/questions", "good")
    words = say("glance.questions", count=waits.held)
    return Tile(str(waits.held), words, "/questions?severity=hold", "ask")


def _event(ready: EventReadiness | None) -> Tile | None:
    if ready is None or ready.days_left < 0:
        return None
    words = say("glance.days_to", count=ready.days_left, name=ready.event_name)
    return Tile(str(ready.days_left), words, f"/events/{ready.event_id}")


def _ready(ready: EventReadiness | None) -> Tile | None:
    if ready is None or not ready.teams or ready.days_left < 0 or ready.reason:
        return None
    done = sum(team.status == "ready" for team in ready.teams)
    figure = say("glance.of", part=done, all=len(ready.teams))
    tone = "good" if done == len(ready.teams) else ""
    return Tile(figure, say("glance.ready"), f"/events/{ready.event_id}", tone)


def _most_improved(report: SeasonReport) -> Tile | None:
    """Return the team with the largest gain whose growth is not chance."""
    grown = [
        (team.change.change_pct, team)
        for school in report.organisations
        for team in school.teams
        if team.change and team.change.interval_pct[0] > 0 and team.trend.verdict in CLEAR
    ]
    if not grown:
        return None
    gain, team = max(grown, key=lambda each: each[0])
    return Tile(percent(gain), say("glance.most_improved", name=team.name), _page_of(team))


def _page_of(team: TeamReport) -> str:
    return f"/teams/{team.team_id}"


def _benches(scores: Sequence[BenchScoreRead]) -> Tile | None:
    if not scores:
        return None
    off = [score for score in scores if score.verdict != "fine"]
    if not off:
        return Tile(
            str(len(scores)), say("glance.benches_fine", count=len(scores)), "#benches", "good"
        )
    return Tile(str(len(off)), say("glance.benches_off", count=len(off)), "#benches", "ask")
