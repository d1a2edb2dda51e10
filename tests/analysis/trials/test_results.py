"""From facts to results: the worked trial, what is taken when something is missing, and laws."""

import hashlib
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.columns import RUN_COLUMNS, TEXT_COLUMNS, TRIAL_COLUMNS
from analysis.trials import results
from analysis.trials.results import FORMULA, PowerResults, power_results, trial_results

#: 1.2 V across 30.1 Ω at 4.2 m/s, 22 °C, 950 hPa, 45 %: the worked trial.
WORKED = {
    "kind": "record", "load_ohm": 30.1, "meter_range_v": 2.0, "meter_counts": 1999.0,
    "meter_percent": 0.5, "meter_digits": 2.0, "wind_speed_start_m_s": 4.2, "grid_points": 5.0,
    "anemometer_type": "vane", "air_temperature_c": 22.0, "pressure_hpa": 950.0,
    "relative_humidity_pct": 45.0, "altitude_m": 540.0, "rotor_diameter_m": 0.45,
    "gear_ratio": 1.0, "reference_wind_speed_m_s": 4.0, "reference_air_density_kg_m3": 1.225,
}  # fmt: skip


def trials_frame(*changed):
    """Return the worked trial once for each change."""
    rows = [WORKED | change for change in changed or ({},)]
    return pd.DataFrame(
        {
            name: [row.get(name, "" if name in TEXT_COLUMNS else math.nan) for row in rows]
            for name in TRIAL_COLUMNS
        }
    )


def runs_frame(*readings, trial=0):
    """Return runs of one trial; a number is its volts."""
    rows = [each if isinstance(each, dict) else {"voltage_v": each} for each in readings]
    return pd.DataFrame(
        {name: [row.get(name, math.nan) for row in rows] for name in RUN_COLUMNS}
    ).assign(trial=trial)


def result_of(readings=(1.2, 1.2, 1.2), **changed):
    return trial_results(trials_frame(changed), runs_frame(*readings))


def test_some_at_a_time_are_all_at_once(monkeypatch):
    """Seven trials, some with several runs, two at a time."""
    trials = trials_frame(*({"load_ohm": 10.0 + at} for at in range(7)))
    runs = pd.concat([runs_frame(*[1.0 + 0.1 * at] * (1 + at % 3), trial=at) for at in range(7)])
    monkeypatch.setattr(results, "AT_ONCE", 2)
    body, whole = power_results(trials, runs), trial_results(trials, runs)
    for name in PowerResults.__dataclass_fields__:
        assert getattr(body, name).tolist() == pytest.approx(
            getattr(whole, name).tolist(), nan_ok=True
        )


#: What each formula makes of the trials below, to eight digits: who moves a result raises `FORMULA`
#: and writes both down here. Other tests check that the numbers are right.
MADE_BY = {1: "dadc3fb9"}


def test_a_result_that_moves_has_another_formula():
    changes = ({}, {"kind": "open_circuit"}, {"wind_speed_m_s": 5.0}, {"tunnel_area_m2": 0.5},
               {"wind_speed_start_m_s": math.nan, "grid_wind_speed_m_s": 3.9}, {"load_ohm": 10.0},
               {"sweep_exponent": 2.2, "sweep_standard_error": 0.1, "sweep_slowest_m_s": 3.0,
                "sweep_fastest_m_s": 5.0}, {"pressure_hpa": math.nan},
               {"emf_constant_v_s_rad": 0.01, "winding_resistance_ohm": 4.0},
               {"season_sweeps": 9.0, "season_mean_exponent": 2.4,
                "season_mean_square_exponent": 5.9, "season_mean_square_error": 0.02},
               {"wind_speed_end_m_s": 4.5}, {"load_tolerance_pct": 5.0},
               {"grid_wind_speed_m_s": 4.0, "grid_monitor_m_s": 4.1})  # fmt: skip
    readings = [runs_frame(1.2, 1.15 + at / 50, trial=at) for at in range(len(changes))]
    changes += ({"kind": "wind"}, {"kind": "record"})
    more = {"current_a": 0.04, "rotor_speed_rpm": 800.0, "wind_speed_m_s": 4.4}
    readings.append(runs_frame({"voltage_v": 1.2, **more}, trial=len(changes) - 2))
    readings.append(runs_frame({"mean_square_voltage_v2": 1.5}, trial=len(changes) - 1))
    made = trial_results(trials_frame(*changes), pd.concat(readings))
    items = [
        f"{each:.8g}" if isinstance(each, float) else str(each)
        for name in sorted(made.__dataclass_fields__)
        for each in getattr(made, name).tolist()
    ]
    assert hashlib.sha256(" ".join(items).encode()).hexdigest()[:8] == MADE_BY[FORMULA]


class TestTheWorkedTrial:
    """Worked by hand: P = 1.2²/30.1; ρ, n = 2.6 ± 0.4, m = 0.5 ± 0.3."""

    def test_power_density_and_normalised_power(self):
        result = result_of()
        power = 1.2**2 / 30.1
        density = 1.1160  # mixture of two ideal gases; the IEC form gives up to 0.02 % more
        assert result.power_w[0] == pytest.approx(power)
        assert result.air_density_kg_m3[0] == pytest.approx(density, rel=3e-4)
        by_hand = power * (4 / 4.2) ** 2.6 * (1.225 / density) ** 0.5
        assert result.normalised_power_w[0] == pytest.approx(by_hand, rel=3e-4)
        cubic = power * (4 / 4.2) ** 3 * (1.225 / density)
        assert result.normalised_power_cubic_w[0] == pytest.approx(cubic, rel=3e-4)

    def test_uncertainty_term_by_term(self):
        result = result_of()
        ln_wind, ln_density = math.log(4 / 4.2), math.log(1.225 / 1.1160)
        own = math.sqrt(0.04**2 / 3 + 0.03**2 + (ln_wind * 0.4) ** 2 + (ln_density * 0.3) ** 2)
        vane = (0.03 * 4.2 + 0.2) / 4.2 / math.sqrt(3)
        meter = (0.005 * 1.2 + 2 * 0.001) / math.sqrt(3) / 1.2
        bench = math.sqrt(
            4 * meter**2 + 0.009**2 + 2.6**2 * (vane**2 + 0.03**2 + 0.01**2) + (0.5 * 0.01) ** 2
        )
        assert result.u_own[0] == pytest.approx(own, abs=5e-4)
        assert result.u_bench[0] == pytest.approx(bench, abs=5e-4)
        assert result.u_total[0] == pytest.approx(math.hypot(own, bench), abs=5e-4)
        assert result.u_total[0] == pytest.approx(0.152, abs=0.005)

    def test_interval_agrees_with_chance(self):
        """200 000 draws of every input, as JCGM 101 proposes, give the same span."""
        draw = np.random.default_rng(11)
        n, many = 200_000, {"size": 200_000}
        volts = 1.2 * (1 + draw.normal(0, 0.0038, **many))
        load = 30.1 * (1 + draw.normal(0, 0.009, **many))
        wind = 4.2 * np.exp(draw.normal(0, math.sqrt(0.0448**2 + 0.03**2 + 0.01**2), **many))
        density = 1.116 * (1 + draw.normal(0, 0.01, **many))
        noise = draw.normal(0, math.sqrt(0.04**2 / 3 + 0.03**2), **many)
        exponent, other = draw.normal(2.6, 0.4, **many), draw.normal(0.5, 0.3, **many)
        power = volts**2 / load * np.exp(noise)
        power *= (4 / wind) ** exponent * (1.225 / density) ** other
        result = result_of()
        assert len(power) == n
        low, high = np.quantile(power, [0.02275, 0.97725])
        assert result.interval_low_w[0] == pytest.approx(low, rel=0.02)
        assert result.interval_high_w[0] == pytest.approx(high, rel=0.03)

    def test_share_of_the_wind(self):
        result = result_of()
        wind = 0.5 * 1.1160 * math.pi * 0.45**2 / 4 * 4.2**3
        assert result.wind_power_w[0] == pytest.approx(wind, rel=3e-4)
        assert result.power_coefficient[0] == pytest.approx(1.2**2 / 30.1 / wind, rel=3e-4)
        assert result.specific_power_w_m2[0] == pytest.approx(
            result.normalised_power_w[0] / (math.pi * 0.45**2 / 4)
        )


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
        result = result_of(**changed)
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
    def test_a_grid_tells_of_the_profile_where_the_speed_rests_on_it(self, changed, expected):
        default = result_of(grid_points=math.nan).u_bench[0]
        moved = result_of(**changed).u_bench[0]
        # n² u_profile² is the only term that differs
        assert moved**2 - default**2 == pytest.approx(2.6**2 * (expected**2 - 0.03**2), abs=1e-9)

    def test_every_reading_beside_a_monitor_is_the_monitors(self):
        monitored = {"grid_wind_speed_m_s": 4.0, "grid_monitor_m_s": 5.0, "grid_points": 5.0}
        for where in ("wind_speed_m_s", "wind_speed_start_m_s"):
            speed = result_of(**(monitored | {where: 5.0})).wind_speed_m_s[0]
            assert speed == pytest.approx(4.0)
        runs = runs_frame({"voltage_v": 1.2, "wind_speed_m_s": 5.0})
        assert trial_results(trials_frame(monitored), runs).wind_speed_m_s[0] == pytest.approx(4.0)

    def test_wind_of_the_runs_comes_before_the_sessions(self):
        runs = runs_frame(*({"voltage_v": 1.2, "wind_speed_m_s": v} for v in (4.0, 4.2)))
        result = trial_results(trials_frame({}), runs)
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
        result = result_of(**changed)
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
        assert result_of(tunnel_area_m2=1.5904).wind_speed_m_s[0] == pytest.approx(
            4.2 * 1.01768, rel=1e-4
        )
        assert result_of(tunnel_area_m2=4.0).wind_speed_m_s[0] == pytest.approx(4.2)

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


class TestRuns:
    def test_power_is_the_geometric_mean(self):
        result = result_of((1.0, 2.0, 4.0), load_ohm=1.0)
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
        assert result_of((run,)).power_w[0] == pytest.approx(expected)

    def test_runs_that_scatter_more_than_usual_are_doubted_by_their_own_scatter(self):
        apart = result_of((1.2, 1.2 * math.exp(0.09)))
        # ln P apart by 0.18: sd 0.18/√2 = 0.1273, of the mean 0.09
        expected = math.sqrt(0.09**2 - 0.04**2 / 2)
        assert math.sqrt(apart.u_own[0] ** 2 - result_of((1.2, 1.2)).u_own[0] ** 2) == (
            pytest.approx(expected, rel=1e-6)
        )

    def test_runs_belong_to_their_trials(self):
        runs = pd.concat([runs_frame(1.0, trial=0), runs_frame(2.0, 2.0, trial=1)])
        result = trial_results(trials_frame({"load_ohm": 1.0}, {"load_ohm": 1.0}), runs)
        assert result.power_w.tolist() == pytest.approx([1.0, 4.0])
        assert result.run_count.tolist() == [1, 2]

    def test_more_runs_leave_less_doubt(self):
        once, often = result_of((1.2,)).u_own[0], result_of((1.2,) * 9).u_own[0]
        assert once**2 - often**2 == pytest.approx(0.04**2 * (1 - 1 / 9))


@pytest.mark.parametrize(
    ("changed", "readings", "words"),
    [
        pytest.param({"kind": "open_circuit"}, (1.2,), "how fast", id="open circuit"),
        pytest.param({}, (1.2, 0.0), "gave no power", id="a run at rest"),
        pytest.param({"load_ohm": math.nan}, (1.2,), "not known", id="no load"),
        pytest.param({"anemometer_type": "none"}, (1.2,), "no wind meter", id="no wind meter"),
        pytest.param(
            {"wind_speed_start_m_s": math.nan}, (1.2,), "no wind speed", id="no wind speed"
        ),
        pytest.param({"wind_speed_start_m_s": 5.1}, (1.2,), "0.80 to 1.25", id="too much wind"),
        pytest.param({"wind_speed_start_m_s": 3.1}, (1.2,), "0.80 to 1.25", id="too little wind"),
    ],
)
def test_what_cannot_be_known_is_said(changed, readings, words):
    result = result_of(readings, **changed)
    assert math.isnan(result.normalised_power_w[0])
    assert words in result.reason[0]


@given(st.floats(0.05, 10), st.floats(1, 500), st.floats(3.2, 5.0))
def test_doubling_the_volts_makes_four_times_the_power(volts, load, wind):
    changed = {"load_ohm": load, "wind_speed_start_m_s": wind}
    once, twice = result_of((volts,), **changed), result_of((2 * volts,), **changed)
    ratio = twice.normalised_power_w[0] / once.normalised_power_w[0]
    assert ratio == pytest.approx(4)


@given(st.permutations([0, 1, 2, 3]))
def test_the_order_of_trials_does_not_matter(order):
    changes = [
        {"load_ohm": 10.0 * (1 + i), "wind_speed_start_m_s": 3.6 + 0.2 * i} for i in range(4)
    ]
    volts = [0.8, 1.0, 1.2, 1.4]
    straight = trial_results(
        trials_frame(*changes), runs_frame(*volts).assign(trial=range(4))
    ).normalised_power_w
    mixed = trial_results(
        trials_frame(*(changes[i] for i in order)),
        runs_frame(*(volts[i] for i in order)).assign(trial=range(4)),
    ).normalised_power_w
    assert mixed.tolist() == pytest.approx(straight[list(order)].tolist())


def test_no_trials_give_no_results():
    none = trial_results(trials_frame({}).iloc[:0], runs_frame(1.2).iloc[:0])
    assert none.normalised_power_w.size == 0
