"""Which trials the rest of a season does not expect: each is predicted from all others.

The residual of a trial over its standard deviation, with the trial itself left out of the fit, is
known as its externally studentised residual; statsmodels' `OLSInfluence` has it for plain least
squares. Here it follows from one fit of all trials, and is tested against fits without the trial.
"""

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.comparison.solver import Solution
from analysis.numeric.distributions import normal_quantile
from analysis.numeric.groups import Groups

LEAST_Z = 3.2  # [-], below it no trial is unexpected, however few there are
MOST_ASIDE, MOST_ASIDE_SHARE = 2, 0.1  # trials, and share of a season
FAR_APART = 2.0  # [-], ratio of powers from which two trials of a build tell nothing together
FALSELY_A_SEASON = 0.5  # clean trials of a season that may be asked about, on average


def predicted_off(
    solution: Solution, weight: FloatArray, scatter: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return how far each trial is from what all others predict, and its z.

    Parameters
    ----------
    solution : Solution
        The fit of all of them.
    weight : array, shape (n,)
        The weight that each trial had in it; 0 where it was left out. [-]
    scatter : array, shape (n,)
        Standard deviation of ln power of one trial by itself. [-]

    Returns
    -------
    off : array, shape (n,)
        ln power less its prediction. [-]
    z : array, shape (n,)
        The same over its standard deviation, which holds the prediction's own uncertainty. [-]

    Notes
    -----
    With h the share of itself that a trial determines, the residual without it is e/(1 - h), and
    the variance of its prediction V/(1 - h), V being that of the fit with it.
    """
    variance = solution.fit_variances()
    free = np.maximum(1 - weight * variance, 1e-9)
    off = solution.residuals / free
    return off, off / np.sqrt(scatter**2 + variance / free)


def set_aside(
    off: FloatArray,
    z: FloatArray,
    alone: FloatArray,
    build: Groups,
    is_aside: npt.NDArray[np.bool_],
) -> npt.NDArray[np.bool_]:
    """Return which trials somebody should look at before they count.

    Parameters
    ----------
    off, z : array, shape (n,)
        How far each trial is from what the trials that are not aside predict. [-]
    alone : array, shape (n,)
        Standard deviation of ln power of one trial, with its session. [-]
    build : Groups
        The build of each trial.
    is_aside : array of bool, shape (n,)
        Which ones are aside so far.

    Returns
    -------
    array of bool, shape (n,)
        The unexpected trials. One that is aside comes back when it is as expected after all, unless
        another one of its build would come back with it and the two contradict each other: nothing
        tells then which of them is right.

    Notes
    -----
    A trial is unexpected beyond |z| = 3.2, and in a large season beyond what half a clean trial on
    average exceeds, if its build has other trials: a first build may be far weaker or stronger than
    anybody would have thought. Where more than a tenth of a season is unexpected (and more than two
    trials), it is the model that does not fit, and none is left out.

    Examples
    --------
    >>> from analysis.numeric.groups import group_by
    >>> z, two = np.array([3.5, -0.1, -0.3]), group_by(np.array(["a", "a", "b"]))
    >>> set_aside(z * 0.05, z, np.full(3, 0.05), two, np.zeros(3, dtype=bool)).tolist()
    [True, False, False]
    """
    share = min(0.5, FALSELY_A_SEASON / max(len(z), 1))
    limit = max(LEAST_Z, normal_quantile(1 - share / 2))
    counts = ~is_aside
    others = build.sum(counts.astype(np.float64))[build.codes] - counts
    is_unexpected = (np.abs(z) > limit) & (others > 0)
    if np.count_nonzero(is_unexpected) > max(MOST_ASIDE, MOST_ASIDE_SHARE * len(z)):
        return np.zeros(len(z), dtype=bool)
    back = is_aside & ~is_unexpected
    apart = _spread(off, back, build) > limit * np.sqrt(2) * build.largest(alone)
    aside: npt.NDArray[np.bool_] = is_unexpected | (back & apart[build.codes])
    return aside


def contradictory(
    off: FloatArray, build: Groups, is_aside: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Return which builds have no trial that counts, and trials more than a factor of two apart.

    What the fit says of such a build is known from its team's other builds only.

    Examples
    --------
    >>> from analysis.numeric.groups import group_by
    >>> off, builds = np.array([0.6, -0.6, 0.1]), group_by(np.array(["a", "a", "b"]))
    >>> contradictory(off, builds, np.array([True, True, False])).tolist()
    [True, False]
    """
    has_none = build.sum((~is_aside).astype(np.float64)) == 0
    which: npt.NDArray[np.bool_] = has_none & (_spread(off, is_aside, build) > np.log(FAR_APART))
    return which


def _spread(off: FloatArray, which: npt.NDArray[np.bool_], build: Groups) -> FloatArray:
    """Return how far the chosen trials of each build are apart; minus infinity without any."""
    lowest, highest = (build.largest(np.where(which, sign * off, -np.inf)) for sign in (-1, 1))
    spread: FloatArray = highest + lowest
    return spread
