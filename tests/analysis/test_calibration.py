"""Ratios of instruments and assigned powers, compared with scipy and by hand."""

import numpy as np
import pytest
from scipy import stats

from analysis.calibration import assign_power, compare_instruments
from analysis.errors import AnalysisError

DAYS = np.array([1, 1, 2, 2, 3, 4])
RUNS = np.array([3, 3, 3, 3, 3, 3])
POWER = np.array([0.060, 0.061, 0.058, 0.059, 0.0625, 0.0595])


class TestCompare:
    @pytest.mark.parametrize("factor", [2.2369, 0.447, 3.6])
    def test_another_unit_is_refused(self, factor):
        with pytest.raises(AnalysisError, match=f"^instruments_apart;ratio={factor:g}$"):
            compare_instruments([4.0 * factor, 4.2 * factor], [4.0, 4.2])

    def test_the_ratio_is_a_geometric_mean_and_its_doubt_that_of_a_mean(self):
        ours, theirs = np.array([4.1, 4.3, 4.0, 4.4]), np.array([4.0, 4.05, 4.0, 4.1])
        comparison = compare_instruments(ours, theirs)
        assert comparison.ratio == pytest.approx(stats.gmean(ours / theirs))
        assert comparison.u == pytest.approx(stats.sem(np.log(ours / theirs)))

    def test_a_mean_of_JCGM_100(self):
        """JCGM 100:2008 4.4.3, table 1: twenty temperatures, mean 100.14 °C, s 1.49, u 0.33 °C."""
        readings = [
            *(96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07),
            *(100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72),
        ]
        comparison = compare_instruments(readings, [100.0] * 20)
        assert comparison.ratio == pytest.approx(1.0014, abs=2e-4)
        assert comparison.u == pytest.approx(0.0033, abs=5e-5)

    @pytest.mark.parametrize(
        ("ratio", "verdict"), [(0.949, "look"), (0.951, "fine"), (1.049, "fine"), (1.051, "look")]
    )
    def test_five_per_cent_is_fine(self, ratio, verdict):
        comparison = compare_instruments([ratio], [1.0])
        assert (comparison.verdict, comparison.u) == (verdict, None)


class TestAssign:
    @pytest.mark.parametrize(("trials", "runs"), [(3, 9), (4, 12)])
    def test_too_little_is_refused(self, trials, runs):
        keep = slice(0, trials)
        why = f"^too_few_to_assign;runs={runs};days=2;least_runs=10;least_days=3$"
        with pytest.raises(AnalysisError, match=why):
            assign_power(POWER[keep], RUNS[keep], DAYS[keep])

    def test_days_weigh_alike_however_often_was_run(self):
        """Two equal days and one day of three trials at twice the power: 2^(1/3), not 2^(3/5)."""
        power = np.array([0.05, 0.05, 0.1, 0.1, 0.1])
        assigned = assign_power(power, np.full(5, 3), np.array([1, 2, 3, 3, 3]))
        assert assigned.power_w == pytest.approx(0.05 * 2 ** (1 / 3))
        assert (assigned.runs, assigned.days) == (15, 3)

    def test_the_doubt_is_that_of_the_days_mean(self):
        assigned = assign_power(POWER, RUNS, DAYS)
        daily = [stats.gmean(POWER[day == DAYS]) for day in (1, 2, 3, 4)]
        assert assigned.power_w == pytest.approx(stats.gmean(daily))
        assert assigned.u == pytest.approx(stats.sem(np.log(daily)))
