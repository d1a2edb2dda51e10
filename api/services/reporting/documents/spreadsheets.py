"""List reports as plain numbers for spreadsheets: one line per team, session or item."""

from api.models.events.inspections import EventReadiness
from api.models.registry.equipment_list import EquipmentList
from api.models.season.progress import TeamProgress
from api.models.season.quality import SeasonQuality
from api.models.season.reports import FairPlace, SeasonReport, TeamReport
from api.services.reporting.documents.lines import Line, Lines

CSV_COLUMNS = (
    "organisation",
    "team",
    "entry_class",
    "build",
    "normalised_power_w",
    "normalised_power_cubic_w",
    "interval_low_w",
    "interval_high_w",
    "u_own",
    "u_bench",
    "u_total",
    "build_trials",
    "build_sessions",
    "bench_id",
    "untested_build",
    "reason",
    "best_seen_w",
    "best_seen_low_w",
    "best_seen_high_w",
    "best_seen_build",
    "best_seen_of_trials",
    "first_session_at",
    "first_session_w",
    "latest_session_at",
    "latest_session_w",
    "change_since_first_build_pct",
    "change_low_pct",
    "change_high_pct",
    "fair_power_w",
    "fair_low_w",
    "fair_high_w",
    "fair_group",
    "trend_pct_per_week",
    "trend_low_pct",
    "trend_high_pct",
    "trend_verdict",
    "sessions",
    "trials",
    "trials_stored",
    "trials_left_out",
    "last_trial_at",
    "team_id",
)
SESSION_COLUMNS = (
    "started_at", "build", "normalised_power_w", "interval_low_w", "interval_high_w", "u_own",
    "u_bench", "u_total", "adjusted_power_w", "reference_ran", "trials", "session_id",
)  # fmt: skip
READY_COLUMNS = (
    "team", "build", "status", "check", "severity", "outcome", "value", "limit", "unit", "says",
    "pull_test_n", "runaway_tip_speed_m_s", "needs_guard", "team_id",
)  # fmt: skip
QUALITY_COLUMNS = (
    "bench", "rotor", "started_at", "off_pct", "sd_pct", "z", "verdict", "trials", "session_id",
    "bench_id", "rotor_id",
)  # fmt: skip
EQUIPMENT_COLUMNS = (
    "tag", "kind", "owner", "where", "due_on", "days_overdue", "condition", "retired_on", "spares",
    "checked", "equipment_id",
)  # fmt: skip


def season_lines(report: SeasonReport) -> Lines:
    """Return one line per team."""
    fair = {place.team_id: place for place in report.comparison.places}
    lines = [
        _line(organisation.name, team) | _fair_cells(fair.get(team.team_id))
        for organisation in report.organisations
        for team in organisation.teams
    ]
    return Lines(CSV_COLUMNS, list(lines))


def team_lines(progress: TeamProgress) -> Lines:
    """Return one line per session of a team."""
    lines = [
        {
            "started_at": each.started_at,
            "build": each.build_number,
            "normalised_power_w": each.normalised_power_w,
            "interval_low_w": each.interval_w[0],
            "interval_high_w": each.interval_w[1],
            "u_own": each.u_own,
            "u_bench": each.u_bench,
            "u_total": each.u_total,
            "adjusted_power_w": each.adjusted_power_w,
            "reference_ran": "yes" if each.reference_ran else "no",
            "trials": each.trials,
            "session_id": each.session_id,
        }
        for each in progress.sessions
    ]
    return Lines(SESSION_COLUMNS, list(lines))


def readiness_lines(ready: EventReadiness) -> Lines:
    """Return one line per check of each team, and one for a team that has no build."""
    lines: list[Line] = [
        {
            "team": team.team_name,
            "build": team.build_number,
            "status": team.status,
            "check": check.id,
            "severity": check.severity,
            "outcome": check.outcome,
            "value": check.value,
            "limit": " ".join(map(str, check.limit))
            if isinstance(check.limit, list)
            else check.limit,
            "unit": check.unit,
            "says": check.sentence,
            "pull_test_n": team.safety and team.safety.pull_test_n,
            "runaway_tip_speed_m_s": team.safety and team.safety.runaway_tip_speed_m_s,
            "needs_guard": "yes" if team.safety and team.safety.needs_guard else "no",
            "team_id": team.team_id,
        }
        for team in ready.teams
        for check in team.checks
    ]
    lines += [
        {"team": team.team_name, "status": team.status, "says": team.next_action,
         "team_id": team.team_id}
        for team in ready.teams
        if not team.checks
    ]  # fmt: skip
    return Lines(READY_COLUMNS, list(lines))


def equipment_lines(listed: EquipmentList) -> Lines:
    """Return one line per piece of equipment."""
    lines = [item.model_dump() for item in listed.items]
    return Lines(EQUIPMENT_COLUMNS, lines)


def _line(organisation: str, team: TeamReport) -> Line:
    current, best, change = team.current, team.best_seen, team.change
    line: Line = {
        "organisation": organisation,
        "team": team.name,
        "entry_class": team.entry_class or "",
        "reason": team.reason,
        "untested_build": team.untested_build_number,
        "sessions": team.sessions,
        "trials": team.trials,
        "trials_stored": team.trials_stored,
        "trials_left_out": team.trials_stored - team.trials,
        "last_trial_at": team.last_trial_at,
        "team_id": team.team_id,
    }
    if current:
        line |= {
            "build": current.build_number,
            "normalised_power_w": current.normalised_power_w,
            "normalised_power_cubic_w": current.normalised_power_cubic_w,
            "interval_low_w": current.interval_w[0],
            "interval_high_w": current.interval_w[1],
            "u_own": current.u_own,
            "u_bench": current.u_bench,
            "u_total": current.u_total,
            "build_trials": current.trials,
            "build_sessions": current.sessions,
            "bench_id": current.bench_id,
        }
    if best:
        line |= {
            "best_seen_w": best.normalised_power_w,
            "best_seen_low_w": best.interval_w[0],
            "best_seen_high_w": best.interval_w[1],
            "best_seen_build": best.build_number,
            "best_seen_of_trials": best.of_trials,
        }
    for name in ("first", "latest"):
        figure = getattr(team, name)
        if figure:
            line |= {
                f"{name}_session_at": figure.started_at,
                f"{name}_session_w": figure.normalised_power_w,
            }
    low, high = team.trend.interval_pct_per_week or (None, None)
    line |= {
        "trend_pct_per_week": team.trend.slope_pct_per_week,
        "trend_low_pct": low,
        "trend_high_pct": high,
        "trend_verdict": team.trend.verdict,
    }
    if change:
        line |= {
            "change_since_first_build_pct": change.change_pct,
            "change_low_pct": change.interval_pct[0],
            "change_high_pct": change.interval_pct[1],
        }
    return line


def _fair_cells(place: FairPlace | None) -> Line:
    if place is None:
        return {}
    low, high = place.interval_w or (None, None)
    return {
        "fair_power_w": place.fair_power_w,
        "fair_low_w": low,
        "fair_high_w": high,
        "fair_group": place.group,
    }


def quality_lines(quality: SeasonQuality) -> Lines:
    """Return the sessions of reference rotors at each bench, one line each."""
    lines = (
        point.model_dump()
        | {
            "bench": chart.bench,
            "rotor": chart.rotor,
            "bench_id": chart.bench_id,
            "rotor_id": chart.rotor_id,
            "started_at": point.started_at,
        }
        for chart in quality.charts
        for point in chart.points
    )
    return Lines(QUALITY_COLUMNS, list(lines))
