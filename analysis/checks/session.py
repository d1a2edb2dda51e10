"""Checks of a session: its air, its fan, its bench and its day; each yields one finding."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from analysis.air import STANDARD_PRESSURE_HPA, standard_pressure
from analysis.checks.view import Finding, View, findings, make_finding

PRESSURE_OFF_HPA, PRESSURE_FROM_M = 25.0, 150.0  # [hPa], [m]
WARM_UP_MIN, HOT_ROOM_C = 5.0, 45.0  # [min], [°C]
DRIFT_WARN, DRIFT_HOLD = 0.03, 0.06  # [-]
UNEVEN, POOR_JET = 0.15, 0.25  # [-], of the mean wind
DISTANCE_M = 0.0101  # [m], a centimetre plus rounding
#: How long the comparison of a wind meter holds, in months.
CHECK_HOLDS_MONTHS, SECONDS_A_MONTH = 12.0, 30.44 * 86_400


def temperature_unit(view: View) -> Iterator[Finding]:
    """Yield rooms that are hot enough to have been read in degrees Fahrenheit."""
    celsius = view.number("air_temperature_c")
    fixed = (celsius - 32) / 1.8
    where = view.first_of_session & (celsius >= HOT_ROOM_C)
    yield from findings(
        where, "temperature_unit", "hold", value=celsius, fixed=fixed,
        fix=lambda at: {"thing": "session",
                        "changes": {"air_temperature_c": round(float(fixed[at]), 1)}},
    )  # fmt: skip


def humidity_fraction(view: View) -> Iterator[Finding]:
    """Yield humidities so low that they were probably typed as a fraction of one."""
    humidity = view.number("relative_humidity_pct")
    fixed = 100 * humidity
    where = view.first_of_session & (humidity > 0) & (humidity <= 1)
    yield from findings(
        where, "humidity_fraction", "hold", value=humidity, fixed=fixed,
        fix=lambda at: {"thing": "session",
                        "changes": {"relative_humidity_pct": round(float(fixed[at]), 2)}},
    )  # fmt: skip


def pressure(view: View) -> Iterator[Finding]:
    """Yield pressures that seem reduced to sea level, or are unusual for the altitude."""
    read, altitude = view.number("pressure_hpa"), view.number("altitude_m")
    expected = standard_pressure(altitude)
    off = view.first_of_session & (np.abs(read - expected) > PRESSURE_OFF_HPA)
    at_sea_level = np.abs(read - STANDARD_PRESSURE_HPA) < PRESSURE_OFF_HPA
    reported = off & at_sea_level & (altitude > PRESSURE_FROM_M)
    yield from findings(reported, "sea_level_pressure", "warn", value=read, usual=expected)
    yield from findings(off & ~reported, "pressure_odd", "warn", value=read, usual=expected)


def cold_fan(view: View) -> Iterator[Finding]:
    """Yield sessions that began with a cold fan."""
    minutes = view.number("warm_up_min")
    where = view.first_of_session & (minutes < WARM_UP_MIN)
    yield from findings(where, "cold_fan", "warn", value=minutes)


def wind_drifted(view: View) -> Iterator[Finding]:
    """Yield sessions whose wind changed from start to end."""
    start, end = view.number("wind_speed_start_m_s"), view.number("wind_speed_end_m_s")
    drift = np.abs(end / start - 1)
    strong = view.first_of_session & (drift > DRIFT_HOLD)
    moderate = view.first_of_session & (drift > DRIFT_WARN) & ~strong
    yield from findings(strong, "wind_drifted", "hold", value=100 * drift)
    yield from findings(moderate, "wind_drifted", "warn", value=100 * drift)


def bench_changed(view: View) -> Iterator[Finding]:
    """Yield sessions with a fan setting or distance that differs from their bench's."""
    used, usual = view.text("fan_setting_used"), view.text("fan_setting")
    distance, bench = view.number("distance_used_m"), view.number("distance_m")
    other_setting = (used != "") & (used != usual)
    other_distance = np.abs(distance - bench) > DISTANCE_M
    where = view.first_of_session & (other_setting | other_distance)
    for at in np.flatnonzero(where).tolist():
        facts: dict[str, Any] = {}
        if other_setting[at]:
            facts |= {"used": str(used[at]), "usual": str(usual[at])}
        if other_distance[at]:
            facts |= {"distance": float(distance[at]), "bench_distance": float(bench[at])}
        variant = "both" if len(facts) == 4 else "setting" if other_setting[at] else "distance"
        words = ", ".join(str(each) for each in facts.values())
        yield make_finding(at, "bench_changed", "hold", variant=variant, words=words, **facts)


def bench_wind(view: View) -> Iterator[Finding]:
    """Yield sessions at a bench whose wind was measured at one point, or is very uneven."""
    points, uneven = view.number("grid_points"), view.number("grid_unevenness")
    first = view.first_of_session
    yield from findings(first & ~(points > 1), "single_wind_point", "warn")
    variant = ["sizes" if each > POOR_JET else "" for each in uneven]
    where = first & (uneven > UNEVEN)
    yield from findings(where, "uneven_jet", "warn", value=100 * uneven, variant=variant)


def stale_instrument(view: View) -> Iterator[Finding]:
    """Yield sessions with a wind meter that was not checked for a year."""
    age = (view.number("started_at") - view.number("anemometer_checked_at")) / SECONDS_A_MONTH
    where = view.first_of_session & (age > CHECK_HOLDS_MONTHS)
    yield from findings(where, "stale_instrument", "warn", value=age)


def date_odd(view: View) -> Iterator[Finding]:
    """Yield sessions in the future, or outside the days of their season."""
    started = view.number("started_at")
    future = started > view.now
    outside = (started < view.number("season_starts_at")) | (
        started > view.number("season_ends_at")
    )
    variant = ["future" if each else "outside" for each in future]
    where = view.first_of_session & (future | outside)
    yield from findings(where, "date_odd", "warn", variant=variant)
