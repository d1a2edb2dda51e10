"""Inputs of trials: reduced readings, and the next best value if one is missing."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.columns import RUN_COLUMNS, TRIAL_COLUMNS
from analysis.trials.inputs import trial_inputs
from analysis.trials.results import trial_results
from tests.support.trial_columns import result_of, runs_frame, trials_frame


def inputs_of(readings=(1.2, 1.2, 1.2), **changed):
    return trial_inputs(trials_frame(changed), runs_frame(*readings))


class TestWhatIsTaken:
    """Where something is missing the next best is taken, and said."""

    @pytest.mark.parametrize(
        ("changed", "source", "expected"),
        [
            pytest.param({"wind_speed_m_s": 3.9}, "trial", 3.9, id="the trial's own wind"),
            pytest.param({}, "session", 4.2, id="the session's"),
            pytest.param({"wind_speed_end_m_s": 4.4}, "session", 4.3, id="mean of start and end"),
            pytest.param(
                {"wind_speed_start_m_s": math.nan, "wind_speed_end_m_s": 4.4}, "session", 4.4,
                id="only the end was read",
            ),
            pytest.param(
                {"grid_wind_speed_m_s": 4.0, "grid_monitor_m_s": 4.1}, "session", 4.2 * 4.0 / 4.1,
                id="the monitor's reading scaled by the grid",
            ),
            pytest.param(
                {"wind_speed_start_m_s": math.nan, "grid_wind_speed_m_s": 4.06}, "grid", 4.06,
                id="the bench's grid",
            ),
        ],
    )  # fmt: skip
    def test_wind(self, changed, source, expected):
        result = inputs_of(**changed)
        assert result.wind_speed_source[0] == source
        assert result.wind_speed_m_s[0] == pytest.approx(expected)

    @pytest.mark.parametrize(
        ("changed", "expected"),
        [
            pytest.param({"grid_points": 12.0}, 0.03, id="a grid the speed does not rest on"),
            pytest.param({"grid_points": 1.0}, 0.03, id="one point, same"),
            pytest.param(
                {"grid_points": 12.0, "grid_monitor_m_s": 4.2, "grid_wind_speed_m_s": 4.2}, 0.015,
                id="scaled by twelve points",
            ),
            pytest.param(
                {"grid_points": 1.0, "grid_wind_speed_m_s": 4.2, "wind_speed_start_m_s": math.nan},
                0.08, id="the grid's own single point",
            ),
        ],
    )  # fmt: skip
    def test_a_grid_describes_the_profile_if_the_speed_depends_on_it(self, changed, expected):
        default = result_of(grid_points=math.nan).u_bench[0]
        moved = result_of(**changed).u_bench[0]
        # n² u_profile² is the only term that differs
        assert moved**2 - default**2 == pytest.approx(2.6**2 * (expected**2 - 0.03**2), abs=1e-9)

    def test_every_reading_beside_a_monitor_is_the_monitors(self):
        monitored = {"grid_wind_speed_m_s": 4.0, "grid_monitor_m_s": 5.0, "grid_points": 5.0}
        for where in ("wind_speed_m_s", "wind_speed_start_m_s"):
            speed = inputs_of(**(monitored | {where: 5.0})).wind_speed_m_s[0]
            assert speed == pytest.approx(4.0)
        runs = runs_frame({"voltage_v": 1.2, "wind_speed_m_s": 5.0})
        assert trial_inputs(trials_frame(monitored), runs).wind_speed_m_s[0] == pytest.approx(4.0)

    def test_wind_of_the_runs_comes_before_the_sessions(self):
        runs = runs_frame(*({"voltage_v": 1.2, "wind_speed_m_s": v} for v in (4.0, 4.2)))
        result = trial_inputs(trials_frame({}), runs)
        assert result.wind_speed_source[0] == "runs"
        assert result.wind_speed_m_s[0] == pytest.approx(4.1)

    @pytest.mark.parametrize(
        ("changed", "source", "expected"),
        [
            ({}, "measured", 1.116),
            # ISO 2533 at 540 m: 950.1 hPa
            ({"pressure_hpa": math.nan}, "altitude", 1.116),
            ({"pressure_hpa": math.nan, "altitude_m": math.nan}, "assumed", 1.1905),
            ({"air_temperature_c": math.nan}, "assumed", 1.124),
        ],
    )
    def test_air(self, changed, source, expected):
        result = inputs_of(**changed)
        assert result.air_density_source[0] == source
        assert result.air_density_kg_m3[0] == pytest.approx(expected, rel=1e-3)

    def test_less_known_air_is_more_doubtful(self):
        sure, by_altitude, guessed = (
            result_of(**changed).u_bench[0]
            for changed in (
                {},
                {"air_temperature_c": math.nan},
                {"pressure_hpa": math.nan, "altitude_m": math.nan},
            )
        )
        assert sure < by_altitude < guessed

    def test_a_narrow_tunnel_is_corrected_for_and_a_wide_one_is_not(self):
        # Glauert, C_T 0.5, ratio 0.159/1.59 = 10 %: 1.018 [memory]
        assert inputs_of(tunnel_area_m2=1.5904).wind_speed_m_s[0] == pytest.approx(
            4.2 * 1.01768, rel=1e-4
        )
        assert inputs_of(tunnel_area_m2=4.0).wind_speed_m_s[0] == pytest.approx(4.2)

    def test_a_colour_code_is_less_sure_than_a_measured_resistor(self):
        by_code = result_of(load_tolerance_pct=5.0).u_bench[0]
        difference = by_code**2 - result_of().u_bench[0] ** 2
        assert difference == pytest.approx((0.05 / math.sqrt(3)) ** 2 - 0.009**2)

    def test_rotor_speed_is_read_or_follows_from_volts(self):
        body = result_of(emf_constant_v_s_rad=0.03, winding_resistance_ohm=8.0, brush_drop_v=0.1)
        # ω = [1.2 (1 + 8/30.1) + 0.1]/0.03 = 53.96 rad/s, worked by hand
        assert body.rotor_speed_rpm[0] == pytest.approx(515.3, abs=0.1)
        assert body.tip_speed_ratio[0] == pytest.approx(53.96 * 0.225 / 4.2, rel=1e-3)
        runs = runs_frame({"voltage_v": 1.2, "rotor_speed_rpm": 500.0})
        read = trial_results(trials_frame({"emf_constant_v_s_rad": 0.03}), runs)
        assert read.rotor_speed_rpm[0] == 500.0
        assert (body.rotor_speed_source[0], read.rotor_speed_source[0]) == (
            "from_voltage",
            "measured",
        )


class TestDoubts:
    """Worked by hand, limits over √3 (JCGM 100, 4.3.7)."""

    def test_volts_by_range_counts_and_class_of_the_meter(self):
        """0.5 % of 1.2 V and two digits of 2 V/2000."""
        expected = (0.005 * 1.2 + 2 * 0.001) / math.sqrt(3) / 1.2
        assert inputs_of().u_voltage[0] == pytest.approx(expected)

    def test_volts_on_a_range_that_is_not_known_and_no_volts_at_all(self):
        """0.4 %, which is about what the usual meter leaves of 1.2 V: 0.38 %."""
        assert inputs_of(meter_range_v=math.nan).u_voltage[0] == pytest.approx(0.004)
        assert inputs_of((0.0,)).u_voltage[0] == pytest.approx(0.004)

    @pytest.mark.parametrize(
        ("tolerance", "expected"), [(math.nan, 0.009), (5.0, 0.02887), (1.0, 0.005774)]
    )
    def test_a_load_by_its_tolerance_or_as_measured(self, tolerance, expected):
        assert inputs_of(load_tolerance_pct=tolerance).u_load[0] == pytest.approx(
            expected, rel=1e-3
        )

    @pytest.mark.parametrize(
        ("missing", "expected"),
        [((), 0.01), (("pressure_hpa",), 0.01), (("air_temperature_c",), 0.02),
         (("pressure_hpa", "altitude_m"), math.hypot(0.01, 0.05)),
         (("air_temperature_c", "pressure_hpa", "altitude_m"), math.hypot(0.02, 0.05))],
    )  # fmt: skip
    def test_air_by_the_available_readings(self, missing, expected):
        changed = dict.fromkeys(missing, math.nan)
        assert inputs_of(**changed).u_air_density[0] == pytest.approx(expected)

    def test_wind_by_meter_profile_and_setting(self):
        """A vane of 3 % and 0.2 m/s at 4.2 m/s; five points or none 0.03; setting 0.01."""
        vane = (0.03 * 4.2 + 0.2) / 4.2 / math.sqrt(3)
        expected = math.sqrt(vane**2 + 0.03**2 + 0.01**2)
        assert inputs_of().u_wind_speed[0] == pytest.approx(expected)


class TestEdges:
    def test_a_bench_without_a_wind_meter_has_no_wind_speed(self):
        inputs = inputs_of(anemometer_type="none", wind_speed_m_s=4.0, grid_wind_speed_m_s=4.0)
        assert not inputs.has_wind_meter[0]
        assert math.isnan(inputs.wind_speed_m_s[0])
        assert inputs.wind_speed_source[0] == ""

    @pytest.mark.parametrize(("ratio", "is_corrected"), [(0.0499, False), (0.0501, True)])
    def test_walls_are_corrected_for_from_a_twentieth_of_the_tunnel_on(self, ratio, is_corrected):
        tunnel = math.pi * 0.45**2 / 4 / ratio
        assert (inputs_of(tunnel_area_m2=tunnel).wind_speed_m_s[0] > 4.2) is np.bool_(is_corrected)

    @pytest.mark.parametrize("volts", [0.0, math.nan])
    def test_a_rotor_without_volts_has_no_speed_from_its_generator(self, volts):
        inputs = inputs_of((volts,), emf_constant_v_s_rad=0.03, winding_resistance_ohm=8.0)
        assert math.isnan(inputs.rotor_speed_rpm[0])
        assert inputs.rotor_speed_source[0] == ""

    def test_swept_area_by_hand(self):
        assert inputs_of(rotor_diameter_m=0.5).area_m2[0] == pytest.approx(math.pi / 16)


CHANGES = [
    {}, {"kind": "open_circuit"}, {"wind_speed_m_s": 5.0}, {"anemometer_type": "cup"},
    {"pressure_hpa": math.nan}, {"tunnel_area_m2": 1.0}, {"load_tolerance_pct": 5.0},
]  # fmt: skip


@settings(max_examples=10)
@given(st.permutations(range(len(CHANGES))))
def test_each_trial_is_independent_of_the_others(order):
    """Together, in any order, as a frame or as arrays by name."""
    trials = trials_frame(*(CHANGES[at] for at in order))
    runs = pd.concat([runs_frame(1.0 + 0.1 * at, 1.2, trial=row) for row, at in enumerate(order)])
    arrays = ({name: trials[name].to_numpy() for name in TRIAL_COLUMNS},
              {name: runs[name].to_numpy() for name in RUN_COLUMNS})  # fmt: skip
    each_alone = [inputs_of((1.0 + 0.1 * at, 1.2), **CHANGES[at]) for at in order]
    for together in (trial_inputs(trials, runs), trial_inputs(*arrays)):
        for name in together.__dataclass_fields__:
            expected = np.concatenate([getattr(each, name) for each in each_alone])
            np.testing.assert_array_equal(getattr(together, name), expected, name)
