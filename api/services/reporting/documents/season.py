"""The season report as a document, whole or one school's part of it."""

from itertools import groupby

from api.models.season.comparison import BenchScoreRead
from api.models.season.reports import (
    BenchOrder,
    BenchPlace,
    FairPlace,
    OrganisationReport,
    SeasonReport,
    TeamReport,
)
from api.services.core import cautions
from api.services.registry.current_builds import words_of_build
from api.services.reporting.documents import plots
from api.services.reporting.documents.blocks import Builder, Document, Heading, Items, Table, Text
from api.services.reporting.documents.words import ahead, counted, day, milliwatts, percent

#: Why trials of a team do not count, in the fewest words; the page's end has the sentences.
SHORT = {
    "withdrawn": "withdrawn",
    "held": "need an answer",
    "other_kind": "not record trials",
    "out_of_range": "in wind too far off",
    "not_normalised": "without wind or power",
}
#: What a trend says, in the fewest words.
TRENDS = {
    "too_early": "too early to call",
    "no_clear_trend": "no clear trend yet",
    "likely_improving": "likely growing",
    "improving": "growing",
}
HOW_TO_READ = (
    "Powers are converted to a {wind} m/s wind and an air density of {density} kg/m³, so that "
    "different days can be compared. We are about 95 % sure that the true value is within the "
    "brackets."
)
ALONE = "bench.alone"
NO_TEAM = (
    "No team is registered in this season yet. Register a school and its first team, then "
    "submit a trial."
)
WITHIN_BENCH = (
    "Only results of the same bench stand in one order. The spans here leave out the doubt that "
    "all results of the bench share; where spans overlap widely, the order can turn."
)
OTHERS_AS_OF = (
    "Other schools' trials are those of {day}. Newer ones are shown once there are enough of them "
    "to hide each single trial. Trials of one's own school count at once."
)
NOT_SHOWN = "{count} builds of schools that do not share theirs took part and are not shown."
ONE_GROUP = "All are held together by the reference rotor or by visits."
OF_GROUPS = (
    "Group {number}: held together by the reference rotor or by visits, and by nothing with other "
    "groups."
)


def season_document(report: SeasonReport, benches: list[BenchScoreRead]) -> Document:
    """Return a season report with its plots, tables and what was left out."""
    made = Builder()
    made.add(Text(_how_to_read(report), "quiet"))
    if not report.organisations:
        made.add(Text(NO_TEAM))
    _comparison(made, report)
    score = plots.bench_scores([each for each in benches if each.sentence_key != ALONE])
    if score is not None:
        made.add(Heading("How the benches read"), score, Items([each.sentence for each in benches]))
    for organisation in report.organisations:
        made.add(Heading(organisation.name), _teams(organisation))
    if report.benches:
        made.add(Heading("Order within each bench"), Text(WITHIN_BENCH, "quiet"))
        made.add(*(_order(bench) for bench in report.benches))
    if report.left_out:
        lines = [f"{counted(left.trials, 'trial')}: {left.sentence}." for left in report.left_out]
        made.add(Heading("Stored and not counted"), Items(lines))
    return Document(
        report.name, _counts(report), report.as_of, made.blocks, cautions.FOOT, "season-report"
    )


def _how_to_read(report: SeasonReport) -> str:
    return HOW_TO_READ.format(
        wind=report.reference_wind_speed_m_s, density=report.reference_air_density_kg_m3
    )


def _counts(report: SeasonReport) -> str:
    return (
        f"Season report, as of {day(report.as_of)} {report.as_of:%H:%M} UTC. {report.trials} of "
        f"{report.trials_stored} stored trials count, from {counted(report.sessions, 'session')}."
    )


def _comparison(made: Builder, report: SeasonReport) -> None:
    fair = report.comparison
    made.add(Heading("Teams of different benches on one scale"), Text(fair.sentence, "callout"))
    made.add(plots.comparison(fair.places))
    own = {team.team_id for school in report.organisations for team in school.teams}
    by_group = [list(places) for _, places in groupby(fair.places, lambda each: each.group)]
    shown = [each for each in by_group if len(each) > 1 or each[0].fair_power_w]
    for number, places in enumerate(shown, start=1):
        several = len(by_group) > 1
        caption = OF_GROUPS.format(number=number) if several else ONE_GROUP
        made.add(_fair(places, caption, own))
    if fair.not_shown:
        made.add(Text(NOT_SHOWN.format(count=fair.not_shown), "quiet"))
    if fair.others_as_of:
        made.add(Text(OTHERS_AS_OF.format(day=day(fair.others_as_of)), "quiet"))


def _fair(places: list[FairPlace], caption: str, own: set[str]) -> Table:
    rows = [
        (
            place.name,
            str(place.place),
            milliwatts(place.fair_power_w, place.interval_w)
            if place.fair_power_w and place.interval_w
            else "no reference run yet",
            f"{_named(place)}\n{counted(place.trials, 'trial')}",
            ahead(place.ahead_of_next) if place.ahead_of_next else "–",
        )
        for place in places
    ]
    columns = ("Team", "Place", "Comparable power", "Of which build", "Against the next row")
    links = [_page_of(each.team_id) if each.team_id in own else "" for each in places]
    return Table(columns, rows, caption, links)


def _named(place: FairPlace | BenchPlace) -> str:
    """Return of which build a place is."""
    current = place.untested_build_number or place.build_number
    return words_of_build(place.build_number or 0, None, current)


def _page_of(team_id: str) -> str:
    return f"/teams/{team_id}"


def _teams(organisation: OrganisationReport) -> Table:
    columns = (
        "Team",
        "Power at the team's bench",
        "Based on",
        "Since the first build",
        "Trend over sessions",
        "First and latest session",
        "Best seen",
        "Last trial",
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
        f"{day(team.last_trial_at)}\n{counted(team.sessions, 'session')} in all",
    )


def _current(team: TeamReport) -> str:
    if team.current is None:
        return f"not known: {team.reason}"
    cube = team.current.normalised_power_cubic_w * 1000
    build_text = words_of_build(
        team.current.build_number, team.current.latest_at, team.current_build_number
    )
    power = milliwatts(team.current.normalised_power_w, team.current.interval_w)
    return f"{power}\n{build_text}\ncube rule {cube:.0f} mW"


def _behind(team: TeamReport) -> str:
    lines = ["–"]
    if team.current:
        lines = [
            f"{counted(team.current.trials, 'trial')}, {counted(team.current.sessions, 'session')}"
        ]
    return "\n".join([*lines, *(f"+ {left.trials} {SHORT[left.code]}" for left in team.left_out)])


def _change(team: TeamReport) -> str:
    if team.change is None:
        return f"–\n{team.change_reason}"
    low, high = (percent(each) for each in team.change.interval_pct)
    since = team.change.from_build_number
    return f"{percent(team.change.change_pct)}\n{low} to {high}, since build {since}"


def _trend(team: TeamReport) -> str:
    verdict = TRENDS[team.trend.verdict]
    if team.trend.slope_pct_per_week is None or team.trend.interval_pct_per_week is None:
        return f"–\n{verdict}"
    low, high = (percent(each) for each in team.trend.interval_pct_per_week)
    return f"{percent(team.trend.slope_pct_per_week)} a week\n{low} to {high}; {verdict}"


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
    of = f"build {best.build_number}"
    of += (
        f"; best of {best.of_trials} trials, so probably a lucky one" if best.of_trials > 1 else ""
    )
    return f"{milliwatts(best.normalised_power_w, best.interval_w)}\n{of}"


def _order(bench: BenchOrder) -> Table:
    rows = [
        (
            place.name,
            str(place.place),
            milliwatts(place.normalised_power_w, place.interval_within_bench_w),
            f"{_named(place)}, {counted(place.trials, 'trial')}"
            + ("\ntoo close to call with the next" if place.too_close_to_next else ""),
        )
        for place in bench.order
    ]
    links = [_page_of(place.team_id) for place in bench.order]
    columns = ("Team", "Place", "Power at this bench", "Based on")
    return Table(columns, rows, bench.name, links)
