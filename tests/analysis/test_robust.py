"""Algorithm A and scores compared with published rounds."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analysis.errors import InvalidInput, TooFewTrials
from analysis.robust import algorithm_a, e_n_score, z_score, zeta_score

CREOSOTE = [24.14, 20.155, 19.5, 20.3, 20.705, 17.57, 20.1, 20.94, 21.185]
COPPER = [2.2, 2.2, 2.4, 2.4, 2.5, 2.7, 2.8, 2.9, 3.03, 3.03, 3.1, 3.37, 3.4, 3.4, 3.4, 3.5, 3.6,
          3.7, 3.7, 3.7, 3.7, 3.77, 5.28, 28.95]  # fmt: skip


@pytest.mark.parametrize(
    ("values", "location", "scale"),
    [
        # ISO 5725-5, laboratory means of creosote, iterated to the end, computed (check F17)
        pytest.param(CREOSOTE, 20.412143, 1.06984, id="creosote"),
        # copper in flour, 24 determinations, computed (check F19)
        pytest.param(COPPER, 3.20557, 0.67415, id="copper"),
        # six benches, worked by hand
        pytest.param([0.02, -0.05, 0.11, 0.04, -0.09, 0.41], 0.0491, 0.1437, id="benches"),
    ],
)
def test_algorithm_a(values, location, scale):
    mean = algorithm_a(values)
    assert mean.location == pytest.approx(location, abs=5e-5)
    assert mean.scale == pytest.approx(scale, abs=5e-5)


def test_it_stays_near_another_robust_mean():
    # statsmodels.robust.scale.huber on the copper data: 3.20549 and 0.67365 (check F18)
    mean = algorithm_a(COPPER)
    assert (mean.location, mean.scale) == pytest.approx((3.20549, 0.67365), rel=1e-3)


@pytest.mark.parametrize(
    ("value", "expanded", "expected"),
    # CCQM-K30, lead in wine, reference 2.99 with U 0.06, computed (check F27)
    [(2.893, 0.044, -1.3037), (2.936, 0.025, -0.8308), (2.94, 0.033, -0.7302),
     (2.96, 0.08, -0.3), (2.98, 0.2, -0.0479), (3.0, 0.1, 0.0857), (3.001, 0.136, 0.074),
     (3.07, 0.17, 0.4438), (3.13, 0.12, 1.0435)],
)  # fmt: skip
def test_e_n_numbers_of_a_key_comparison(value, expanded, expected):
    assert e_n_score(value, 2.99, expanded, 0.06) == pytest.approx(expected, abs=1e-4)


def test_scores_agree_where_only_the_scale_differs():
    assert zeta_score(3.1, 3.0, 0.03, 0.04) == pytest.approx(2.0)
    assert z_score(3.1, 3.0, 0.05) == pytest.approx(2.0)


# Readings have a resolution; below it, whether half of them agree exactly is a matter of rounding.
READINGS = st.lists(st.integers(-5000, 5000).map(lambda n: n / 1000), min_size=4, max_size=12)


@example([0.0, 0.0, 0.0, 0.0, 0.001, 0.001], 1.0, 0.1)
@given(READINGS, st.floats(0.1, 10), st.floats(-9, 9))
def test_the_unit_does_not_matter(values, factor, shift):
    plain, moved = algorithm_a(values), algorithm_a([factor * v + shift for v in values])
    assert moved.location == pytest.approx(factor * plain.location + shift, abs=1e-6)
    assert moved.scale == pytest.approx(factor * plain.scale, abs=1e-6)


def test_invalid_scores_are_refused():
    with pytest.raises(TooFewTrials, match="3 values, got 2"):
        algorithm_a([1, 2])
    with pytest.raises(InvalidInput):
        algorithm_a([1, 2, math.nan])
    with pytest.raises(InvalidInput):
        z_score(1, 1, 0)
