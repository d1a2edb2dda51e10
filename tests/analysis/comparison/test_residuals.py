"""A fit is fine while its residuals scatter within 0.7 to 1.3 of what is stated."""

import pytest

from analysis.comparison.residuals import ResidualCheck


@pytest.mark.parametrize(
    ("standard_deviation", "expected"),
    [(0.69, "too_narrow"), (0.7, "fine"), (1.0, "fine"), (1.3, "fine"), (1.31, "too_wide")],
)
def test_the_verdict_changes_at_the_limits(standard_deviation, expected):
    assert ResidualCheck(standard_deviation, 100).verdict == expected
