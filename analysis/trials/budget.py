"""Write the uncertainty of a trial's power as a budget, term by term.

References
----------
.. [1] JCGM 100:2008, clauses 5.1.2 and 8 on combining and on reporting each component, applied to
   ln P, read at iso.org/sites/JCGM/GUM.
"""

from dataclasses import dataclass
from typing import Literal

from analysis.errors import InvalidInput
from analysis.trials.results import U_SESSION, TrialResults
from analysis.wind import SETTING_UNCERTAINTY

Part = Literal["own", "bench"]
Term = Literal[
    "runs", "session", "wind_exponent", "density_exponent", "wind_meter", "wind_profile",
    "fan_setting", "voltage", "load", "air_density",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class BudgetTerm:
    """One line of a budget.

    `u_input` is the standard uncertainty of the input (relative, or of an exponent as it is),
    `sensitivity` what ln power changes by per unit of it, `u_power` the product in size, `share`
    its part of the combined variance. Terms of part `bench` are the same for all trials at a bench.
    """

    term: Term
    part: Part
    u_input: float
    sensitivity: float
    u_power: float
    share: float


def uncertainty_budget(results: TrialResults, at: int = 0) -> list[BudgetTerm]:
    """Return the budget of one trial's normalised power, the largest term first.

    Parameters
    ----------
    results : TrialResults
        Results of trials.
    at : int, optional
        Position of the trial among them.

    Returns
    -------
    list of BudgetTerm
        Ten terms; the squares of their `u_power` add up to that of the trial's `u_total`.

    Raises
    ------
    InvalidInput
        If the trial's normalised power is not known.

    Notes
    -----
    A voltage counts twice, since power goes with its square.
    """
    if not results.normalised_power_w[at] > 0:
        raise InvalidInput("a trial without a normalised power has no budget")
    n, m = float(results.wind_exponent[at]), float(results.density_exponent[at])
    lines: list[tuple[Term, Part, float, float]] = [
        ("runs", "own", float(results.u_repeat[at]), 1.0),
        ("session", "own", U_SESSION, 1.0),
        ("wind_exponent", "own", *_pair(results, at, "u_wind_exponent", "exponent_lever")),
        ("density_exponent", "own", *_pair(results, at, "u_density_exponent", "ln_density_ratio")),
        ("wind_meter", "bench", float(results.u_wind_meter[at]), -n),
        ("wind_profile", "bench", float(results.u_wind_profile[at]), -n),
        ("fan_setting", "bench", SETTING_UNCERTAINTY, -n),
        ("voltage", "bench", float(results.u_voltage[at]), 2.0),
        ("load", "bench", float(results.u_load[at]), -1.0),
        ("air_density", "bench", float(results.u_air_density[at]), -m),
    ]
    total = float(results.u_total[at]) ** 2
    terms = [
        BudgetTerm(term, part, u, slope, abs(u * slope), (u * slope) ** 2 / total)
        for term, part, u, slope in lines
    ]
    return sorted(terms, key=lambda term: -term.u_power)


def _pair(results: TrialResults, at: int, *names: str) -> tuple[float, float]:
    one, other = (float(getattr(results, name)[at]) for name in names)
    return one, other
