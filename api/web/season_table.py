"""The table of a season's page: teams in order, each with its interval on one scale."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from api.messages import say
from api.models.season.reports import FairPlace, SeasonReport, TeamReport
from api.services.registry.teams import School
from api.services.reporting.charts.axes import Axis, power_axis
from api.services.reporting.documents.words import percent, rounded_milliwatts

MW = 1000.0
MOST_ROWS = 100  # on one page; the others are reached by searching, or by the next page
SORTS = ("place", "name", "school", "gain", "latest")
NEVER = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class View:
    """The chosen part of a table: text in a name, a school, an order, and the page."""

    search: str = ""
    school: str = ""
    sort: str = "place"
    page: int = 1

    @classmethod
    def of(cls, typed: Mapping[str, str]) -> "View":
        """Return the view that an address names; what it does not know is ignored."""
        sort, page = typed.get("sort", ""), typed.get("page", "")
        return cls(
            search=typed.get("q", "").strip()[:60],
            school=typed.get("school", "")[:40],
            sort=sort if sort in SORTS else "place",
            page=max(1, int(page)) if page.isdecimal() and len(page) < 5 else 1,
        )

    def query(self, **changes: object) -> dict[str, object]:
        """Return the parameters of this view, some of them changed, without the usual values."""
        every = {"q": self.search, "school": self.school, "sort": self.sort, "page": 1} | changes
        usual = {"q": "", "school": "", "sort": "place", "page": 1}
        return {name: value for name, value in every.items() if value != usual[name]}


@dataclass(frozen=True, slots=True)
class Row:
    """One team; positions are shares of the scale in percent."""

    team_id: str
    name: str
    school: School
    place: str
    power: str
    span_words: str
    build: str
    group: int
    is_own: bool
    span: tuple[float, float, float] | None
    gain: str
    gain_pct: float
    latest_at: datetime


@dataclass(frozen=True, slots=True)
class SeasonTable:
    """The rows of one page of a table, with the scale of all rows."""

    rows: Sequence[Row]
    view: View
    ticks: Sequence[tuple[float, str]]
    found: int
    groups: int
    placed: int | None  # builds that all places are among; None if groups differ

    @property
    def pages(self) -> int:
        """Return the number of pages."""
        return max(1, -(-self.found // MOST_ROWS))


def season_table(report: SeasonReport, schools: Mapping[str, School], view: View) -> SeasonTable:
    """Return the chosen teams in the chosen order."""
    places = report.comparison.places
    teams = {each.team_id: each for school in report.organisations for each in school.teams}
    scale = _scale(places)
    rows = [_row(place, teams.get(place.team_id), schools, scale) for place in places]
    placed = {place.team_id for place in places}
    sizes = {place.group_size for place in places}
    rows += [_unplaced(each, schools) for each in teams.values() if each.team_id not in placed]
    chosen = sorted((row for row in rows if _is_chosen(row, view)), key=ORDERS[view.sort])
    first = MOST_ROWS * (view.page - 1)
    ticks = [(_at(scale, value), words) for value, words in scale.ticks] if scale else []
    return SeasonTable(
        chosen[first : first + MOST_ROWS],
        view,
        ticks,
        len(chosen),
        len({row.group for row in rows if row.span} or {row.group for row in rows}),
        sizes.pop() if len(sizes) == 1 else None,
    )


def _is_chosen(row: Row, view: View) -> bool:
    words = f"{row.name} {row.school.name}".casefold()
    return view.search.casefold() in words and view.school in ("", row.school.id)


ORDERS: dict[str, Callable[[Row], Any]] = {
    "place": lambda _: 0,  # as they came
    "name": lambda row: row.name.casefold(),
    "school": lambda row: (row.school.name.casefold(), row.name.casefold()),
    "gain": lambda row: -row.gain_pct,
    "latest": lambda row: -(row.latest_at - NEVER).total_seconds(),
}


def _scale(places: Sequence[FairPlace]) -> Axis | None:
    ends = [MW * end for place in places for end in place.interval_w or ()]
    return power_axis(ends, "mW") if ends else None


def _at(scale: Axis, value: float) -> float:
    return round(100 * scale.share(value), 2)


def _row(
    place: FairPlace, team: TeamReport | None, schools: Mapping[str, School], scale: Axis | None
) -> Row:
    span = None
    if scale and place.interval_w and place.fair_power_w:
        low, high = place.interval_w
        span = _at(scale, MW * low), _at(scale, MW * place.fair_power_w), _at(scale, MW * high)
    best, worst = place.places
    return Row(
        team_id=place.team_id,
        name=place.name,
        school=schools[place.team_id],
        place=str(best) if best == worst else f"{best}–{worst}",
        **_power_of(place),
        build=_build_of(place),
        group=place.group,
        is_own=team is not None,
        span=span,
        **_own_season(team),
    )


def _power_of(place: FairPlace) -> dict[str, Any]:
    """Return a power in words, and its interval separately, as a phone has room for one only."""
    if not place.fair_power_w or not place.interval_w:
        return {"power": say("report_words.no_reference_run"), "span_words": ""}
    value, low, high = rounded_milliwatts(place.fair_power_w, place.interval_w)
    return {
        "power": say("rank.milliwatts", value=value),
        "span_words": say("rank.span", low=low, high=high),
    }


def _build_of(place: FairPlace) -> str:
    number = say("report_build.named", number=place.build_number)
    return f"{number}, {say('count.trials', count=place.trials)}"


def _own_season(team: TeamReport | None) -> dict[str, Any]:
    """Return what a team gained since its first build, and its latest trial."""
    change = team.change if team else None
    latest = team.last_trial_at if team else None
    return {
        "gain": percent(change.change_pct) if change else "",
        "gain_pct": change.change_pct if change else -1e9,
        "latest_at": latest or NEVER,
    }


def _unplaced(team: TeamReport, schools: Mapping[str, School]) -> Row:
    return Row(
        team_id=team.team_id, name=team.name, school=schools[team.team_id], place="–",
        power=team.reason or "", span_words="", build="", group=-1, is_own=True, span=None,
        **_own_season(team),
    )  # fmt: skip
