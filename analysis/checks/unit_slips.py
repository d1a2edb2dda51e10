"""Checks of one trial for a value in a wrong unit: volts, ohms and diameters."""

from collections.abc import Iterator

import numpy as np

from analysis.checks import unit_factors
from analysis.checks.decimal_slips import places_off
from analysis.checks.unit_factors import find_slip
from analysis.checks.view import Finding, View, findings, make_finding

MOST_VOLTS, LEAST_OHMS = 20.0, 0.5  # [V], [Ω], of a model turbine
LOAD_TOLERANCE = 0.05  # [-], standard deviation of ln load
DIAMETER_TOLERANCE = 0.05  # [-], same of ln diameter


def millivolt_slip(view: View) -> Iterator[Finding]:
    """Yield volts that no model turbine gives."""
    volts = view.results.largest_voltage_v
    yield from findings(
        volts > MOST_VOLTS, "millivolt_slip", "hold", value=volts, fixed=volts / 1000,
        fix={"thing": "trial", "scale_volts": 1e-3},
    )  # fmt: skip


def kiloohm_slip(view: View) -> Iterator[Finding]:
    """Yield loads under half an ohm, or of a thousandth of the resistor's or the build's."""
    load = view.number("load_ohm")
    listed = np.where(
        np.isfinite(view.number("load_record_ohm")),
        view.number("load_record_ohm"),
        view.number("build_load_ohm"),
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        off = np.abs(np.log(load / listed) - np.log(1e-3))
    where = (load < LEAST_OHMS) | (off <= unit_factors.TOLERATED * LOAD_TOLERANCE)
    fixed = 1000 * load
    yield from findings(
        where, "kiloohm_slip", "hold", value=load, fixed=fixed,
        fix=lambda at: {"thing": "trial", "changes": {"load_ohm": round(float(fixed[at]), 4)}},
    )  # fmt: skip


def load_slip(view: View) -> Iterator[Finding]:
    """Yield loads that are the resistor's or the build's with a slipped decimal point.

    Thousandths are kilo-ohms, which `kiloohm_slip` finds; a load sweep changes the load on purpose,
    so that its loads are compared with the resistor's own record only.
    """
    load, record = view.number("load_ohm"), view.number("load_record_ohm")
    of_build = np.where(view.kind("load"), np.nan, view.number("build_load_ohm"))
    listed = np.where(np.isfinite(record), record, of_build)
    for trial in np.flatnonzero(np.isfinite(load) & (listed > 0)).tolist():
        value, usual = float(load[trial]), float(listed[trial])
        places = places_off(value, usual, unit_factors.TOLERATED * LOAD_TOLERANCE)
        if places not in (0, -3):
            fixed = float(f"{value * 10.0**-places:.6g}")
            yield make_finding(
                trial, "load_slip", "hold", value=value, usual=usual, fixed=fixed,
                fix={"thing": "trial", "changes": {"load_ohm": fixed}},
            )  # fmt: skip


def diameter_slip(view: View) -> Iterator[Finding]:
    """Yield diameters on sheets that are the build's in another unit, or half or twice it."""
    sheet, record = view.number("sheet_diameter_m"), view.number("rotor_diameter_m")
    for trial in np.flatnonzero(np.isfinite(sheet)):
        value, usual = float(sheet[trial]), float(record[trial])
        slip = find_slip(value, usual, DIAMETER_TOLERANCE, unit_factors.DIAMETER_SLIPS)
        if slip is not None:
            yield make_finding(
                int(trial), "diameter_slip", "hold", value=value, usual=usual, variant=slip.unit,
                fix={"thing": "trial", "changes": {"rotor_diameter_m": round(slip.meant, 4)}},
            )  # fmt: skip
