"""Quantiles and probabilities compared with scipy, printed tables and closed forms."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analysis.errors import InvalidInput
from analysis.numeric.distributions import (
    f_exceeds,
    normal_cdf,
    normal_quantile,
    student_t_quantile,
)

PROBABILITIES = st.floats(1e-9, 1 - 1e-9)
FREEDOM = st.floats(1, 500)


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1, 1.1, math.nan])
def test_a_probability_outside_0_and_1_is_refused(probability):
    with pytest.raises(InvalidInput, match="above 0 and below 1"):
        normal_quantile(probability)
    for degrees_of_freedom in (5, math.inf):
        with pytest.raises(InvalidInput, match="above 0 and below 1"):
            student_t_quantile(probability, degrees_of_freedom)


class TestNormal:
    # NIST/SEMATECH e-Handbook, 1.3.6.7.1, area between 0 and x [memory]
    @pytest.mark.parametrize(
        ("x", "area"),
        [(0.0, 0.0), (0.5, 0.19146), (1.0, 0.34134), (1.64, 0.44950), (1.96, 0.47500),
         (2.0, 0.47725), (2.58, 0.49506), (3.0, 0.49865)],
    )  # fmt: skip
    def test_areas_of_a_printed_table(self, x, area):
        assert normal_cdf(x) == pytest.approx(0.5 + area, abs=5e-6)
        assert normal_cdf(-x) == pytest.approx(0.5 - area, abs=5e-6)

    @given(st.floats(-30, 8))
    def test_agrees_with_scipy_far_into_the_lower_tail(self, x):
        assert normal_cdf(x) == pytest.approx(stats.norm.cdf(x), rel=1e-11, abs=0)

    @given(PROBABILITIES)
    def test_quantiles_agree_with_scipy_and_come_back(self, probability):
        assert normal_quantile(probability) == pytest.approx(stats.norm.ppf(probability), abs=1e-12)
        assert normal_cdf(normal_quantile(probability)) == pytest.approx(probability, rel=1e-9)


class TestStudent:
    # JCGM 100 table G.2, 95 %: computed with scipy 1.17.1 (check E13)
    @pytest.mark.parametrize(
        ("degrees_of_freedom", "expected"),
        [(1, 12.706), (2, 4.303), (3, 3.182), (5, 2.571), (9, 2.262), (10, 2.228), (20, 2.086),
         (math.inf, 1.960)],
    )  # fmt: skip
    def test_quantiles_of_student(self, degrees_of_freedom, expected):
        assert student_t_quantile(0.975, degrees_of_freedom) == pytest.approx(expected, abs=5e-4)

    def test_the_gauge_block(self):
        """JCGM 100 H.1.6: u_c = 32 nm, 16 degrees of freedom, 99 %: t = 2.92, U = 93 nm [memory].

        (check E3)
        """
        factor = student_t_quantile(0.995, 16)
        assert factor == pytest.approx(2.92, abs=0.005)
        assert factor * 32 == pytest.approx(93, abs=0.6)

    # NIST/SEMATECH e-Handbook, 1.3.6.7.2, upper critical values [memory]
    @pytest.mark.parametrize(
        ("degrees_of_freedom", "expected"),
        [(1, (3.078, 6.314, 31.821, 63.657)), (5, (1.476, 2.015, 3.365, 4.032)),
         (10, (1.372, 1.812, 2.764, 3.169)), (30, (1.310, 1.697, 2.457, 2.750))],
    )  # fmt: skip
    def test_critical_values_of_a_printed_table(self, degrees_of_freedom, expected):
        quantiles = [student_t_quantile(p, degrees_of_freedom) for p in (0.90, 0.95, 0.99, 0.995)]
        assert quantiles == pytest.approx(expected, abs=6e-4)

    @given(st.floats(0.001, 0.999))
    def test_one_and_two_degrees_of_freedom_have_closed_forms(self, probability):
        """Cauchy's tan π(p - ½), and (2p - 1)/√(2p (1 - p))."""
        cauchy = math.tan(math.pi * (probability - 0.5))
        assert student_t_quantile(probability, 1) == pytest.approx(cauchy, rel=1e-9, abs=1e-12)
        two = (2 * probability - 1) / math.sqrt(2 * probability * (1 - probability))
        assert student_t_quantile(probability, 2) == pytest.approx(two, rel=1e-9, abs=1e-12)

    @given(st.floats(1e-6, 1 - 1e-6), FREEDOM)
    def test_agrees_with_scipy(self, probability, degrees_of_freedom):
        theirs = stats.t.ppf(probability, degrees_of_freedom)
        quantile = student_t_quantile(probability, degrees_of_freedom)
        assert quantile == pytest.approx(theirs, rel=1e-8, abs=1e-10)

    @given(st.floats(0.51, 0.999), FREEDOM)
    def test_fewer_degrees_of_freedom_reach_further(self, probability, degrees_of_freedom):
        few = student_t_quantile(probability, degrees_of_freedom)
        assert few > student_t_quantile(probability, degrees_of_freedom + 1)
        assert few > student_t_quantile(probability, math.inf)


class TestFisher:
    # NIST/SEMATECH e-Handbook, 1.3.6.7.3, upper critical values at 5 % [memory]
    @pytest.mark.parametrize(
        ("numerator_df", "denominator_df", "critical"),
        [(1, 1, 161.448), (1, 2, 18.513), (2, 2, 19.000), (1, 10, 4.965), (5, 10, 3.326),
         (10, 10, 2.978), (10, 20, 2.348)],
    )  # fmt: skip
    def test_critical_values_of_a_printed_table(self, numerator_df, denominator_df, critical):
        exceedance = f_exceeds(critical, numerator_df, denominator_df)
        assert exceedance == pytest.approx(0.05, abs=2e-5)

    @given(st.floats(0, 100), FREEDOM)
    def test_two_degrees_of_freedom_above_have_a_closed_form(self, statistic, denominator_df):
        """(1 + 2 f/d)^(-d/2)."""
        expected = (1 + 2 * statistic / denominator_df) ** (-denominator_df / 2)
        assert f_exceeds(statistic, 2, denominator_df) == pytest.approx(expected, rel=1e-8)

    @given(st.floats(0.001, 100), st.integers(1, 50), st.integers(1, 50))
    def test_agrees_with_scipy(self, statistic, numerator_df, denominator_df):
        theirs = stats.f.sf(statistic, numerator_df, denominator_df)
        exceedance = f_exceeds(statistic, numerator_df, denominator_df)
        assert exceedance == pytest.approx(theirs, rel=1e-9, abs=1e-300)

    @given(st.floats(0.5001, 0.9999), st.integers(1, 100))
    def test_the_square_of_student_is_fisher(self, probability, degrees_of_freedom):
        t = student_t_quantile(probability, degrees_of_freedom)
        assert f_exceeds(t**2, 1, degrees_of_freedom) == pytest.approx(
            2 * (1 - probability), rel=1e-6
        )
