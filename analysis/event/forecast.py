"""Forecast an event: ranges and probabilities from many random draws of it.

Uncertainty that all entrants share (the event's wind, its bench) changes all
powers and no ranks; an entrant's own (its build, the interaction with that
bench, the handling of the run) changes both.

References
----------
.. [1] JCGM 101:2008, propagation of distributions by a Monte Carlo method.
.. [2] Brier, G. W., "Verification of forecasts expressed in terms of probability", Mon. Weather
   Rev. 78 (1950) 1-3; the score as scikit-learn's `brier_score_loss` documents it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.errors import InvalidInput, TooFewTrials
from analysis.exponent import REFERENCE_WIND_SPEED_M_S
from analysis.reasons import reason

DRAWS = 20_000
#: Entrants up to which every pair is compared; with more, each and the next ones, in fewer draws.
FULL_FIELD, NEXT_ONES, DRAWS_OF_LARGE = 200, 20, 5_000
U_EVENT_WIND = 0.04  # [-], of ln wind speed, shared
U_EVENT_BENCH = 0.125  # [-], of ln power, shared; 0.10 to 0.15
INTERACTION = 0.05  # [-], of a build with the event's bench
EXECUTION = 0.06  # [-], of one run: handling and nerves
NOT_FINISHING, NOT_FINISHING_STALE = 0.03, 0.10  # probability of no result; after a long pause
STALE_AFTER_DAYS = 21
RANGE = (0.10, 0.90)  # quantiles of the 80 % range
NEVER = np.full(3, np.nan)  # median and range of an entrant that finishes in no draw
QUANTILE_90 = 1.2815515655446004  # [-], standard normal quantile of 90 %


@dataclass(frozen=True, slots=True)
class Event:
    """Wind of an event and its uncertainties, as known beforehand."""

    wind_speed_m_s: float = REFERENCE_WIND_SPEED_M_S
    reference_wind_speed_m_s: float = REFERENCE_WIND_SPEED_M_S
    best_of: int = 1
    u_wind: float = U_EVENT_WIND
    u_bench: float = U_EVENT_BENCH
    interaction: float = INTERACTION
    execution: float = EXECUTION


@dataclass(frozen=True, slots=True)
class Entrants:
    """The entrants: ln power at the reference with its covariance, and their wind exponents.

    `ln_power` has shape (k,), `covariance` (k, k), the others (k,).
    """

    ln_power: FloatArray
    covariance: FloatArray
    wind_exponent: FloatArray
    u_wind_exponent: FloatArray
    not_finishing: FloatArray


@dataclass(frozen=True, slots=True)
class Forecast:
    """Summary of many drawn events; one value per entrant, in their order.

    Ranges are over the draws in which an entrant finished. `ahead` is, for every pair, the
    probability that the first comes before the second, NaN where a large field's pair was not
    compared; `whole_order` is the probability of the likeliest order.
    """

    median_w: FloatArray
    low_w: FloatArray
    high_w: FloatArray
    first: FloatArray
    top_three: FloatArray
    top_half: FloatArray
    ahead: FloatArray
    whole_order: float
    draws: int
    seed: int


@dataclass(frozen=True, slots=True)
class Score:
    """How well a forecast agreed with the event's results."""

    z: FloatArray
    coverage: float
    brier: float | None
    mean_ln_bias: float
    finished: int


def draw_forecast(
    entrants: Entrants, event: Event, *, seed: int, draws: int | None = None
) -> Forecast:
    """Return the forecast of an event for entrants that can be compared.

    Parameters
    ----------
    entrants : Entrants
        The k entrants.
    event : Event
        Its wind and its uncertainties.
    seed : int
        The same seed gives the same answer.
    draws : int, optional
        Number of draws; by default 20,000, and 5,000 for more than 200 entrants.

    Returns
    -------
    Forecast
        Ranges and probabilities.

    Raises
    ------
    TooFewTrials
        Without an entrant.
    InvalidInput
        With values that are not finite.

    Notes
    -----
    ln P = θ + interaction + n ln(v/v_ref) + bench + the best of K executions, with θ jointly normal
    and the event's wind and bench drawn once for all. Entrants that do not finish come last.

    Examples
    --------
    >>> two = Entrants(np.log([0.06, 0.05]), 0.03**2 * np.eye(2), np.full(2, 2.6),
    ...     np.full(2, 0.4), np.zeros(2))
    >>> forecast = draw_forecast(two, Event(), seed=1)
    >>> round(float(forecast.first[0]), 1), forecast.first.sum().round(6).item()
    (0.9, 1.0)
    """
    _require_known(entrants)
    rng = np.random.default_rng(seed)
    is_large = entrants.ln_power.size > FULL_FIELD
    draws = draws or (DRAWS_OF_LARGE if is_large else DRAWS)
    ln_power = _draw(entrants, event, rng, draws)
    finished = rng.random(ln_power.shape) >= entrants.not_finishing
    # Teams that do not finish come after all that do, in a random order.
    ranked_power = ln_power.copy()
    ranked_power[~finished] = -1e3 + rng.random(np.count_nonzero(~finished))
    rank, ahead = (
        _places_of_many(ranked_power, entrants.ln_power) if is_large else _places(ranked_power)
    )
    median, low, high = _ranges(ln_power, finished)
    count = ln_power.shape[1]
    return Forecast(
        median_w=median,
        low_w=low,
        high_w=high,
        first=np.mean(rank == 0, axis=1),
        top_three=np.mean(rank < 3, axis=1),
        top_half=np.mean(rank < math.ceil(count / 2), axis=1),
        ahead=ahead,
        whole_order=_whole_order(entrants.ln_power, rank),
        draws=draws,
        seed=seed,
    )


def _places(ranked_power: FloatArray) -> tuple[npt.NDArray[np.int16], FloatArray]:
    """Return each entrant's place in each draw, 0 for the first, and each pair's share of wins.

    Both follow from comparing every pair once: a place is the number of entrants ahead. No two
    powers are equal.
    """
    draws, count = ranked_power.shape
    by_entrant = np.ascontiguousarray(ranked_power.T)
    rank = np.zeros(by_entrant.shape, dtype=np.int16)
    ahead = np.full((count, count), 0.5)
    for one in range(count - 1):
        wins = by_entrant[one] > by_entrant[one + 1 :]
        rank[one + 1 :] += wins
        rank[one] += count - 1 - one - wins.sum(axis=0, dtype=np.int16)
        ahead[one, one + 1 :] = np.count_nonzero(wins, axis=1) / draws
        ahead[one + 1 :, one] = 1 - ahead[one, one + 1 :]
    return rank, ahead


def _places_of_many(
    ranked_power: FloatArray, expected: FloatArray
) -> tuple[npt.NDArray[np.int16], FloatArray]:
    """Return the same for a large field, with shares of wins only over the next ones expected."""
    draws, count = ranked_power.shape
    order = np.argsort(-ranked_power, axis=1, kind="stable")
    rank = np.empty(order.shape, dtype=np.int16)
    np.put_along_axis(rank, order, np.arange(count, dtype=np.int16)[np.newaxis], axis=1)
    ahead = np.full((count, count), np.nan)
    by_entrant = np.ascontiguousarray(ranked_power.T)
    likeliest = np.argsort(-expected, kind="stable")
    for at, one in enumerate(likeliest):
        others = likeliest[at + 1 : at + 1 + NEXT_ONES]
        ahead[one, others] = np.count_nonzero(by_entrant[one] > by_entrant[others], axis=1) / draws
        ahead[others, one] = 1 - ahead[one, others]
    return np.ascontiguousarray(rank.T), ahead


def _require_known(entrants: Entrants) -> None:
    if entrants.ln_power.size == 0:
        raise TooFewTrials("an outlook needs an entrant")
    parts = (entrants.ln_power, entrants.covariance, entrants.wind_exponent)
    if not all(np.all(np.isfinite(part)) for part in (*parts, entrants.u_wind_exponent)):
        raise InvalidInput("an outlook needs finite powers, covariances and exponents")


def _draw(entrants: Entrants, event: Event, rng: np.random.Generator, draws: int) -> FloatArray:
    """Return drawn ln powers, one row per event."""
    shape = draws, entrants.ln_power.size
    # The interactions of builds with the bench are independent, so they add to the diagonal.
    covariance = entrants.covariance + event.interaction**2 * np.eye(shape[1])
    drawn = rng.multivariate_normal(entrants.ln_power, covariance, size=draws, method="eigh")
    exponent = entrants.wind_exponent + entrants.u_wind_exponent * rng.standard_normal(shape)
    ln_wind = math.log(event.wind_speed_m_s / event.reference_wind_speed_m_s)
    exponent *= rng.normal(ln_wind, event.u_wind, (draws, 1))
    drawn += exponent
    drawn += rng.normal(0, event.u_bench, (draws, 1))
    drawn += event.execution * rng.standard_normal((event.best_of, *shape)).max(axis=0)
    return drawn


def _ranges(
    ln_power: FloatArray, finished: npt.NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return median and 80 % range of each entrant's power where it finished."""
    by_entrant = zip(*map(np.ascontiguousarray, (ln_power.T, finished.T)), strict=True)
    quantiles = [
        np.quantile(drawn[done], [0.5, *RANGE], overwrite_input=True) if done.any() else NEVER
        for drawn, done in by_entrant
    ]
    middle, low, high = np.exp(np.array(quantiles)).T
    return middle, low, high


def _whole_order(ln_power: FloatArray, rank: npt.NDArray[np.int16]) -> float:
    """Return the share of draws whose order is that of the means."""
    expected = (-ln_power).argsort().argsort()
    return float(np.mean(np.all(rank == expected[:, np.newaxis], axis=0)))


def score_forecast(
    forecast: Forecast,
    power_w: npt.ArrayLike,
    *,
    stated_pairs: Sequence[tuple[int, int]] | None = None,
) -> Score:
    """Return how well a forecast agrees with the results of the event.

    Parameters
    ----------
    forecast : Forecast
        The forecast, of k entrants.
    power_w : array-like, shape (k,)
        Power of each at the event; NaN or 0 if it did not finish. [W]
    stated_pairs : sequence of pairs of int, optional
        Pairs that count in the Brier score; by default all pairs.

    Returns
    -------
    Score
        z of each (NaN where it did not finish), share of results within the 80 % range, Brier score
        of the pairs (None without any), and mean of ln result less ln median.

    Raises
    ------
    InvalidInput
        With another number of powers than entrants.
    TooFewTrials
        If nobody finished.

    Notes
    -----
    z is in units of the range's own width: half of it is 1.2816 standard deviations.

    Examples
    --------
    >>> two = Entrants(np.log([0.06, 0.05]), 0.03**2 * np.eye(2), np.full(2, 2.6),
    ...     np.full(2, 0.4), np.zeros(2))
    >>> score_forecast(draw_forecast(two, Event(), seed=1), [0.062, 0.049]).coverage
    1.0
    """
    result = np.asarray(power_w, dtype=float)
    if result.shape != forecast.median_w.shape:
        raise InvalidInput("a review needs one power per entrant")
    finished = np.isfinite(result) & (result > 0)
    if not finished.any():
        raise TooFewTrials(reason("nobody_finished"))
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.log(np.where(finished, result, np.nan)) - np.log(forecast.median_w)
    width = np.log(forecast.high_w / forecast.low_w) / (2 * QUANTILE_90)
    within = (result >= forecast.low_w) & (result <= forecast.high_w)
    return Score(
        z=off / width,
        coverage=float(np.mean(within[finished])),
        brier=_brier(forecast.ahead, np.where(finished, result, 0.0), stated_pairs),
        mean_ln_bias=float(np.nanmean(off)),
        finished=int(finished.sum()),
    )


def _brier(
    ahead: FloatArray, result: FloatArray, stated_pairs: Sequence[tuple[int, int]] | None
) -> float | None:
    """Return the mean square of stated probability less result (1 or 0), over pairs."""
    count = len(result)
    every = [(one, other) for one in range(count) for other in range(one)]
    pairs = [
        (one, other) for one, other in (stated_pairs if stated_pairs is not None else every)
        if result[one] != result[other] and np.isfinite(ahead[one, other])
    ]  # fmt: skip
    if not pairs:
        return None
    misses = [ahead[one, other] - (result[one] > result[other]) for one, other in pairs]
    return float(np.mean(np.square(misses)))
