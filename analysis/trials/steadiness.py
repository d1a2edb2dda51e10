"""Measure how steady a logged voltage is: its variation, its drift, and jumps between blocks."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.errors import InvalidInput

BLOCK_S = 5.0  # [s]
FEWEST_BLOCKS = 2


@dataclass(frozen=True, slots=True)
class Steadiness:
    """Steadiness of a series; each figure is a share of the series' mean.

    `variation` is its standard deviation, `drift` its change from first to last along a line,
    `block_variation` the standard deviation of the means of blocks of five seconds.
    """

    variation: float
    drift: float
    block_variation: float


def steadiness(voltages_v: npt.ArrayLike, sample_rate_hz: float | None = None) -> Steadiness:
    """Return how steady a logged series is.

    Parameters
    ----------
    voltages_v : array-like, shape (n,)
        Voltages at equal steps of time, at least two. [V]
    sample_rate_hz : float, optional
        Samples per second; by default the series is cut into six blocks. [1/s]

    Returns
    -------
    Steadiness
        A steady series has at most 10 % of variation, 2 % of drift and 2 % between blocks.

    Raises
    ------
    InvalidInput
        With fewer than two values, or values that are not finite.

    Examples
    --------
    >>> steady = steadiness([1.00, 1.02, 0.98, 1.00] * 15, 2.0)
    >>> round(steady.variation, 3), round(steady.block_variation, 3)
    (0.014, 0.002)
    >>> round(steadiness([1.0, 1.1, 1.2, 1.3]).drift, 2)
    0.26
    """
    volts = np.abs(np.asarray(voltages_v, dtype=float))
    if volts.size < 2 or not np.all(np.isfinite(volts)):
        raise InvalidInput("a series needs two finite values or more")
    mean = float(volts.mean())
    if mean == 0:
        return Steadiness(0.0, 0.0, 0.0)
    at = np.arange(volts.size) - (volts.size - 1) / 2
    slope = float(np.sum(at * volts) / np.sum(at**2))
    size = volts.size // 6 if sample_rate_hz is None else round(BLOCK_S * sample_rate_hz)
    size = max(1, size)
    blocks = volts[: volts.size // size * size].reshape(-1, size).mean(axis=1)
    between = float(blocks.std(ddof=1)) if blocks.size >= FEWEST_BLOCKS else 0.0
    return Steadiness(
        variation=float(volts.std(ddof=1)) / mean,
        drift=slope * (volts.size - 1) / mean,
        block_variation=between / mean,
    )
