"""A season's report as CSV and as one printable page."""

import csv
import io
import math
from base64 import b64encode
from datetime import datetime
from functools import cache
from hashlib import sha256
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from api.models.comparison import PairRead
from api.models.reports import FairPlace, SeasonReport, TeamReport
from api.services import wording
from api.services.safe_cells import BYTE_ORDER_MARK, protect

TEMPLATES = Path(__file__).parent / "templates"

#: Why trials of a team do not count, in the fewest words; the page's end has the sentences.
SHORT = {
    "withdrawn": "withdrawn",
    "held": "waiting for an answer",
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

#: How a team stands to the next one; a table is in the order of power, so it is never behind.
AHEAD = {
    "a_ahead": "ahead ({sure} sure)",
    "a_probably_ahead": "probably ahead ({sure})",
    "too_close": "too close to call",
    "not_yet": "cannot be compared yet",
}

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


def to_csv(report: SeasonReport, excel: bool) -> str:
    """Return one line per team; a byte order mark first where a spreadsheet will open it."""
    out = io.StringIO()
    writer = csv.DictWriter(out, CSV_COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    fair = {place.team_id: place for place in report.comparison.places}
    for organisation in report.organisations:
        for team in organisation.teams:
            writer.writerow(_line(organisation.name, team) | _fair_cells(fair.get(team.team_id)))
    return (BYTE_ORDER_MARK if excel else "") + out.getvalue()


def _line(organisation: str, team: TeamReport) -> dict[str, object]:
    current, best, change = team.current, team.best_seen, team.change
    line: dict[str, object] = {
        "organisation": protect(organisation),
        "team": protect(team.name),
        "entry_class": protect(team.entry_class or ""),
        "reason": team.reason,
        "untested_build": team.untested_build_number,
        "sessions": team.sessions,
        "trials": team.trials,
        "trials_stored": team.trials_stored,
        "trials_left_out": team.trials_stored - team.trials,
        "last_trial_at": _iso(team.last_trial_at),
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
    for which in ("first", "latest"):
        figure = getattr(team, which)
        if figure:
            line |= {
                f"{which}_session_at": _iso(figure.started_at),
                f"{which}_session_w": figure.normalised_power_w,
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


def _fair_cells(place: FairPlace | None) -> dict[str, object]:
    if place is None:
        return {}
    low, high = place.interval_w or (None, None)
    return {
        "fair_power_w": place.fair_power_w,
        "fair_low_w": low,
        "fair_high_w": high,
        "fair_group": place.group,
    }


def _iso(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat()


def milliwatts(power_w: float, interval_w: tuple[float, float]) -> str:
    """Return a power with its interval in milliwatts, rounded by its own doubt.

    Two significant digits of half the interval are kept, and never more digits than the display of
    a hand meter supports.

    >>> milliwatts(0.04415, (0.0326, 0.0598))
    '44 mW (33 to 60)'
    >>> milliwatts(0.004415, (0.0039, 0.0050))
    '4.42 mW (3.90 to 5.00)'
    """
    half = (interval_w[1] - interval_w[0]) / 2 * 1000
    decimals = min(2, max(0, 1 - math.floor(math.log10(half)))) if half > 0 else 2
    value, low, high = (f"{each * 1000:.{decimals}f}" for each in (power_w, *interval_w))
    return f"{value} mW ({low} to {high})"


def percent(value: float) -> str:
    """Return a change in whole percent with its sign, or as a multiple where that reads better.

    >>> percent(12.4), percent(-0.2), percent(418.0)
    ('+12 %', '0 %', '5.2 times')
    """
    if value > 200:
        return f"{1 + value / 100:.1f} times"
    rounded = round(value)
    return f"{rounded:+d} %" if rounded else "0 %"


def day(moment: datetime | None) -> str:
    """Return a day with the month's name, which no reader can take for another day."""
    return "–" if moment is None else f"{moment.day} {moment:%B %Y}"


def ahead(pair: PairRead) -> str:
    """Return how a team stands to the next one of its table, in the fewest words."""
    words = AHEAD[pair.statement].format(sure=wording.share(pair.probability_a_ahead or 0.0))
    return f"{words}; roughly" if pair.comparable == "rough" else words


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {"percent": percent, "day": day}
    made.globals |= {"milliwatts": milliwatts, "short": SHORT, "trends": TRENDS, "ahead": ahead}
    return made


@cache
def style() -> str:
    """Return the style sheet of the printable page."""
    return (TEMPLATES / "report.css").read_text(encoding="utf-8")


def content_policy() -> str:
    """Return the policy of the printable page: its own style sheet and nothing else."""
    digest = b64encode(sha256(style().encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; frame-ancestors 'none'"
    )


def to_html(report: SeasonReport) -> str:
    """Return the report as one page that needs nothing else and prints well."""
    return _environment().get_template("season_report.html").render(report=report, style=style())
