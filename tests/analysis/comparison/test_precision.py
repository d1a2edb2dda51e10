"""Repeatability and reproducibility, against a published nested experiment and statsmodels."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from analysis.comparison.precision import Level, percent_limit, precision_of
from analysis.errors import InvalidInput

#: Strength of a paste: ten deliveries, three casks of each, two tests of each cask. Davies, O. L.
#: and Goldsmith, P. L., "Statistical Methods in Research and Production" (1972), section 6.5, as
#: the data set `Pastes` of R's lme4 has it.
PASTES = [
    62.8, 62.6, 60.1, 62.3, 62.7, 63.1, 60.0, 61.4, 57.5, 56.9, 61.1, 58.9, 58.7, 57.5, 63.9,
    63.1, 65.4, 63.7, 57.1, 56.4, 56.9, 58.6, 64.7, 64.5, 55.1, 55.1, 54.7, 54.2, 58.8, 57.5,
    63.4, 64.9, 59.3, 58.1, 60.5, 60.0, 62.5, 62.6, 61.0, 58.7, 56.9, 57.7, 59.2, 59.4, 65.2,
    66.0, 64.8, 64.1, 54.8, 54.8, 64.0, 64.0, 57.7, 56.8, 58.3, 59.3, 59.2, 59.2, 58.9, 56.6,
]  # fmt: skip
DELIVERIES, CASKS = np.repeat(np.arange(10), 6), np.repeat(np.arange(30), 2)


def variances(precision):
    levels = (precision.repeatability, precision.intermediate, precision.reproducibility)
    return [level.standard_deviation**2 for level in levels]


class TestRefusals:
    def test_columns_of_different_length(self):
        with pytest.raises(InvalidInput):
            precision_of([1.0, 2.0], ["a"], ["b", "b"], ["c", "c"])

    def test_a_power_that_is_not_finite(self):
        with pytest.raises(InvalidInput):
            precision_of([1.0, np.nan], ["a", "a"], ["b", "b"], ["c", "c"])

    def test_what_is_too_little_known_is_not_shown(self):
        few = precision_of([0.0, 0.1, 0.2], ["a"] * 3, ["b"] * 3, ["s", "t", "u"])
        assert few.repeatability == Level(None, 0)
        assert few.intermediate.standard_deviation is None
        assert few.repeatability.limit is None
        assert percent_limit(few.repeatability) is None

    def test_days_are_compared_where_no_session_repeats_a_trial(self):
        """Then each trial is a day: the sample standard deviation of a bench's trials."""
        y = np.array([0.0, 0.1, 0.2, -0.1, 0.05, 0.03, 0.3, 0.1])
        found = precision_of(y, ["a"] * 8, ["b"] * 8, np.arange(8))
        assert found.repeatability.standard_deviation is None
        assert found.intermediate.standard_deviation == pytest.approx(y.std(ddof=1))
        assert found.reproducibility.standard_deviation is None


class TestAgainstPublishedValues:
    def test_pastes(self):
        """Mean squares 27.489 of 9, 17.545 of 20, as a script of ETH Zurich on this set has them.

        With 0.678 of 30 the variances are 0.678, (17.545 − 0.678)/2 and (27.489 − 17.545)/6.
        """
        found = precision_of(PASTES, ["paste"] * 60, DELIVERIES, CASKS)
        assert variances(found) == pytest.approx(
            [0.678, 0.678 + 8.4335, 0.678 + 8.4335 + 1.6573], abs=2e-3
        )
        levels = (found.repeatability, found.intermediate, found.reproducibility)
        assert [level.degrees_of_freedom for level in levels] == [30, 20, 9]

    def test_restricted_likelihood_agrees_where_the_numbers_are_equal(self):
        """Statsmodels' mixed model: on balanced data it equals the analysis of variance."""
        frame = pd.DataFrame({"y": PASTES, "delivery": DELIVERIES, "cask": CASKS})
        model = smf.mixedlm(
            "y ~ 1", frame, groups="delivery", re_formula="1", vc_formula={"cask": "0 + C(cask)"}
        )
        fitted = model.fit(reml=True)
        expected = np.cumsum(
            [fitted.scale, float(fitted.vcomp[0]), float(fitted.cov_re.iloc[0, 0])]
        )
        found = variances(precision_of(PASTES, ["paste"] * 60, DELIVERIES, CASKS))
        assert found == pytest.approx(expected.tolist(), rel=2e-3)


def draw(rng, within, session, bench):
    """Return columns of builds at unequal numbers of benches, sessions and trials."""
    rows = []
    for build in range(8):
        for at in range(rng.integers(2, 6)):
            here = rng.normal(0, bench)
            for day in range(rng.integers(1, 6)):
                there = here + rng.normal(0, session)
                rows += [
                    (build + there + rng.normal(0, within), build, at, 10 * at + day)
                    for _ in range(rng.integers(1, 5))
                ]
    return (np.array(column) for column in zip(*rows, strict=True))


def test_unequal_numbers_bias_no_variance():
    """Over many draws the mean variances are the true ones: within four standard errors."""
    rng = np.random.default_rng(20261130)
    found = np.array([variances(precision_of(*draw(rng, 0.05, 0.10, 0.20))) for _ in range(300)])
    error = found.std(axis=0) / np.sqrt(len(found))
    assert np.all(np.abs(found.mean(axis=0) - [0.0025, 0.0125, 0.0525]) < 4 * error)


def test_builds_may_differ_as_much_as_they_like():
    rng = np.random.default_rng(1)
    y, build, bench, session = draw(rng, 0.05, 0.10, 0.20)
    one = precision_of(y, build, bench, session)
    other = precision_of(y + 100.0 * build, build, bench, session)
    assert variances(one) == pytest.approx(variances(other), abs=1e-9)


def test_the_limit_of_repeatability():
    """ISO 5725-6: 2.8 standard deviations, 1.96 times the root of two."""
    assert Level(0.05, 10).limit == pytest.approx(1.96 * np.sqrt(2) * 0.05, rel=0.02)
    assert percent_limit(Level(0.05, 10)) == pytest.approx(100 * (np.exp(0.14) - 1))
