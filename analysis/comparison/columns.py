"""What the season's fit needs of trials, from their results."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.trials.results import U_PLACEMENT, PowerResults
from analysis.uncertainty import combine

NAMES = ("build_id", "team_id", "bench_id", "session_id")


def compared_columns(
    trials: Mapping[str, npt.NDArray[Any]], results: PowerResults
) -> dict[str, npt.NDArray[Any]]:
    """Return the columns that `fit_season` reads.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `build_id`, `team_id`, `bench_id` and `session_id` of each trial.
    results : PowerResults
        Their results, all of them known.

    Returns
    -------
    dict of str to array, shape (n,)
        The same names; `log_power`; `u_own`, what is uncertain of a trial besides its session and
        bench, which have terms; and the errors that a team's trials share: `u_wind_exponent` and
        `u_density_exponent`. [-]
    """
    repeat = results.u_repeat
    return {name: np.asarray(trials[name]) for name in NAMES} | {
        "log_power": np.log(results.normalised_power_w),
        "u_own": combine(repeat, np.full_like(repeat, U_PLACEMENT)),
        "u_wind_exponent": results.exponent_lever * results.u_wind_exponent,
        "u_density_exponent": results.ln_density_ratio * results.u_density_exponent,
    }
