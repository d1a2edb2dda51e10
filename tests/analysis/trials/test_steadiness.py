"""Steadiness of a logged voltage: compared with numpy's line, pandas' blocks, and by hand."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from analysis.errors import InvalidInput
from analysis.trials.steadiness import Steadiness, steadiness

SERIES = st.lists(st.floats(0.1, 10), min_size=2, max_size=80)


@pytest.mark.parametrize(
    "volts",
    [[], [1.2], [1.2, math.nan], [1.2, math.inf]],
    ids=["none", "one", "missing", "endless"],
)
def test_an_invalid_series_is_refused(volts):
    with pytest.raises(InvalidInput, match="two finite values"):
        steadiness(volts)


@given(SERIES)
def test_variation_is_the_standard_deviation_over_the_mean(volts):
    series = pd.Series(volts)
    assert steadiness(volts).variation == pytest.approx(series.std() / series.mean(), abs=1e-9)


@given(SERIES)
def test_drift_is_the_change_of_the_least_squares_line(volts):
    line = linregress(np.arange(len(volts)), volts)
    expected = line.slope * (len(volts) - 1) / np.mean(volts)
    assert steadiness(volts).drift == pytest.approx(expected, abs=1e-9)


@given(SERIES, st.sampled_from([0.5, 1.0, 2.0, 10.0]))
def test_blocks_are_complete_ones_of_five_seconds(volts, rate_hz):
    """Of pandas: rows grouped by their five seconds, the last group left out where it is short."""
    size = max(1, round(5 * rate_hz))
    blocks = pd.Series(volts).groupby(np.arange(len(volts)) // size).agg(["mean", "size"])
    means = blocks.loc[blocks["size"] == size, "mean"]
    expected = means.std() / np.mean(volts) if len(means) > 1 else 0.0
    assert steadiness(volts, rate_hz).block_variation == pytest.approx(expected, abs=1e-9)


def test_without_a_rate_there_are_six_blocks():
    """Means 1, 2, 3, 4, 5, 6: their deviation is √3.5, their mean 3.5."""
    volts = np.repeat([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], 10)
    assert steadiness(volts).block_variation == pytest.approx(math.sqrt(3.5) / 3.5)


def test_a_straight_rise_by_hand():
    """1 to 1.2 V in 21 readings, mean 1.1: it drifts by 0.2/1.1, and its blocks rise as well."""
    result = steadiness(np.linspace(1.0, 1.2, 21), 1.0)
    assert result.drift == pytest.approx(0.2 / 1.1)
    # blocks of five readings a hundredth apart: means 1.02, 1.07, 1.12, 1.17
    assert result.block_variation == pytest.approx(np.std([1.02, 1.07, 1.12, 1.17], ddof=1) / 1.1)


def test_a_swing_that_ends_where_it_began_does_not_drift():
    swing = 1 + 0.1 * np.cos(2 * np.pi * np.arange(61) / 60)
    assert steadiness(swing).drift == pytest.approx(0.0, abs=1e-12)
    assert steadiness(swing).variation == pytest.approx(0.1 / math.sqrt(2), rel=0.03)


def test_a_steady_series_and_no_voltage_at_all_have_none_of_it():
    assert steadiness([1.25] * 32, 1.0) == Steadiness(0.0, 0.0, 0.0)
    assert steadiness([0.0] * 30, 1.0) == Steadiness(0.0, 0.0, 0.0)


@given(SERIES, st.floats(0.01, 100))
def test_the_unit_and_reversed_leads_do_not_matter(volts, factor):
    one, other = steadiness(volts, 1.0), steadiness([-factor * each for each in volts], 1.0)
    for name in ("variation", "drift", "block_variation"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), abs=1e-9)


@given(SERIES)
def test_backwards_it_drifts_the_other_way(volts):
    one, other = steadiness(volts), steadiness(volts[::-1])
    assert other.drift == pytest.approx(-one.drift, abs=1e-9)
    assert other.variation == pytest.approx(one.variation, abs=1e-9)
