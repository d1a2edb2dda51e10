"""The power of each run and trial from its readings."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import gmean

from analysis.trials.inputs import trial_inputs
from analysis.trials.power import reduce_runs, run_power
from tests.support.trial_columns import runs_frame, trials_frame


def inputs_of(readings=(1.2, 1.2, 1.2), **changed):
    return trial_inputs(trials_frame(changed), runs_frame(*readings))


class TestRuns:
    def test_power_is_the_geometric_mean(self):
        result = inputs_of((1.0, 2.0, 4.0), load_ohm=1.0)
        assert result.power_w[0] == pytest.approx(4.0)
        assert result.ln_power_range[0] == pytest.approx(math.log(16))

    @pytest.mark.parametrize(
        ("run", "expected"),
        [
            pytest.param({"voltage_v": 1.2}, 1.44 / 30.1, id="volts"),
            pytest.param({"voltage_v": -1.2}, 1.44 / 30.1, id="reversed leads"),
            pytest.param({"voltage_v": 1.2, "current_a": 0.041}, 0.0492, id="volts and amperes"),
            pytest.param({"current_a": 0.04}, 0.0016 * 30.1, id="amperes alone"),
            pytest.param({"mean_square_voltage_v2": 2.0}, 2.0 / 30.1, id="a logger"),
        ],
    )
    def test_power_of_one_run(self, run, expected):
        assert inputs_of((run,)).power_w[0] == pytest.approx(expected)

    def test_runs_belong_to_their_trials(self):
        runs = pd.concat([runs_frame(1.0, trial=0), runs_frame(2.0, 2.0, trial=1)])
        result = trial_inputs(trials_frame({"load_ohm": 1.0}, {"load_ohm": 1.0}), runs)
        assert result.power_w.tolist() == pytest.approx([1.0, 4.0])
        assert result.run_count.tolist() == [1, 2]

    def test_a_loggers_readings_count_first_and_only_amperes_last(self):
        """1 V² and 1.2 V across 10 Ω, 0.2 A: 0.1, 0.24, 0.144 and 0.4 W."""
        names, powers = ["mean_square_voltage_v2", "current_a", "voltage_v"], []
        run = {"mean_square_voltage_v2": 1.0, "voltage_v": 1.2, "current_a": 0.2}
        for missing in ([], names[:1], names[:2], [names[0], names[2]], names):
            present = {name: value for name, value in run.items() if name not in missing}
            powers.append(run_power(runs_frame(present), np.array([10.0]))[0])
        assert powers == pytest.approx([0.1, 0.24, 0.144, 0.4, math.nan], nan_ok=True)

    @given(st.lists(st.lists(st.floats(0.01, 20), min_size=1, max_size=4), min_size=1, max_size=4),
           st.floats(1, 100))  # fmt: skip
    def test_runs_of_several_trials_are_reduced_as_pandas_and_scipy_do(self, volts, load):
        runs = pd.concat([runs_frame(*each, trial=at) for at, each in enumerate(volts)])
        runs = runs.sample(frac=1, random_state=1)  # in any order
        reduced = reduce_runs(runs, np.full(len(volts), load))
        by_trial = runs["voltage_v"].groupby(runs["trial"])
        ln_power = np.log(runs["voltage_v"] ** 2 / load).groupby(runs["trial"])
        assert reduced.power_w == pytest.approx([gmean(np.square(each)) / load for each in volts])
        expected = {
            "ln_power_sd": ln_power.std().fillna(0), "ln_power_range": ln_power.agg(np.ptp),
            "count": by_trial.count(), "voltage_v": by_trial.mean(),
            "largest_voltage_v": by_trial.max(), "smallest_voltage_v": by_trial.min(),
        }  # fmt: skip
        for name, series in expected.items():
            assert getattr(reduced, name) == pytest.approx(series.to_numpy(), abs=1e-9), name

    def test_turns_and_winds_are_means_of_the_runs_that_noted_them(self):
        runs = runs_frame({"voltage_v": 1.2, "rotor_speed_rpm": 480.0, "wind_speed_m_s": 4.0},
                          {"voltage_v": 1.2, "rotor_speed_rpm": 520.0}, 1.2)  # fmt: skip
        reduced = reduce_runs(runs, np.array([30.1]))
        assert (reduced.rotor_speed_rpm[0], reduced.wind_speed_m_s[0]) == (500.0, 4.0)

    def test_a_run_without_power_leaves_none_and_a_range_without_end(self):
        inputs = inputs_of((1.2, 0.0))
        assert (inputs.power_w[0], inputs.ln_power_range[0]) == (0.0, math.inf)
        assert (inputs.smallest_voltage_v[0], inputs.largest_voltage_v[0]) == (0.0, 1.2)

    def test_volts_of_a_logger_are_the_root_of_their_mean_square(self):
        inputs = inputs_of(({"mean_square_voltage_v2": 1.44},))
        assert inputs.largest_voltage_v[0] == inputs.smallest_voltage_v[0] == pytest.approx(1.2)

    def test_reversed_leads_show_the_same_volts(self):
        inputs, right = inputs_of((-1.2, 1.2)), inputs_of((1.2, 1.2))
        assert inputs.largest_voltage_v[0] == inputs.smallest_voltage_v[0] == 1.2
        assert inputs.u_voltage[0] == right.u_voltage[0]

    def test_voltage_without_a_load_gives_no_power(self):
        inputs = inputs_of(kind="open_circuit")
        assert not inputs.is_power_kind[0]
        assert math.isnan(inputs.power_w[0])
