"""Results of trials: the worked trial, unknown values, and laws."""

import hashlib
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.trials import results
from analysis.trials.results import FORMULA, PowerResults, power_results, trial_results
from tests.support.trial_columns import result_of, runs_frame, trials_frame


def test_some_at_a_time_are_all_at_once(monkeypatch):
    """Seven trials, some with several runs, two at a time."""
    trials = trials_frame(*({"load_ohm": 10.0 + at} for at in range(7)))
    runs = pd.concat([runs_frame(*[1.0 + 0.1 * at] * (1 + at % 3), trial=at) for at in range(7)])
    monkeypatch.setattr(results, "AT_ONCE", 2)
    in_parts, at_once = power_results(trials, runs), trial_results(trials, runs)
    for name in PowerResults.__dataclass_fields__:
        assert getattr(in_parts, name).tolist() == pytest.approx(
            getattr(at_once, name).tolist(), nan_ok=True
        )


#: What each formula makes of the trials below, to eight digits: who moves a result raises `FORMULA`
#: and writes both down here. Other tests check that the numbers are right.
MADE_BY = {1: "dadc3fb9", 2: "c6a81293", 3: "b76bb3e0"}


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
    computed = trial_results(trials_frame(*changes), pd.concat(readings))
    items = [
        f"{each:.8g}" if isinstance(each, float) else str(each)
        for name in sorted(computed.__dataclass_fields__)
        for each in getattr(computed, name).tolist()
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


class TestRuns:
    def test_runs_that_scatter_more_than_usual_are_doubted_by_their_own_scatter(self):
        apart = result_of((1.2, 1.2 * math.exp(0.09)))
        # ln P apart by 0.18: sd 0.18/√2 = 0.1273, of the mean 0.09
        expected = math.sqrt(0.09**2 - 0.04**2 / 2)
        assert math.sqrt(apart.u_own[0] ** 2 - result_of((1.2, 1.2)).u_own[0] ** 2) == (
            pytest.approx(expected, rel=1e-6)
        )

    def test_more_runs_leave_less_doubt(self):
        once, often = result_of((1.2,)).u_own[0], result_of((1.2,) * 9).u_own[0]
        assert once**2 - often**2 == pytest.approx(0.04**2 * (1 - 1 / 9))


@pytest.mark.parametrize(
    ("changed", "readings", "why"),
    [
        pytest.param({"kind": "open_circuit"}, (1.2,), "no_load", id="open circuit"),
        pytest.param({}, (1.2, 0.0), "run_without_power", id="a run at rest"),
        pytest.param({"load_ohm": math.nan}, (1.2,), "power_not_known", id="no load"),
        pytest.param({"anemometer_type": "none"}, (1.2,), "no_wind_meter", id="no wind meter"),
        pytest.param(
            {"wind_speed_start_m_s": math.nan}, (1.2,), "wind_not_known", id="no wind speed"
        ),
        pytest.param(
            {"wind_speed_start_m_s": 5.1},
            (1.2,),
            "wind_out_of_range;low=0.8;high=1.25",
            id="too much wind",
        ),
        pytest.param(
            {"wind_speed_start_m_s": 3.1},
            (1.2,),
            "wind_out_of_range;low=0.8;high=1.25",
            id="too little wind",
        ),
    ],
)
def test_unknown_results_have_a_reason(changed, readings, why):
    result = result_of(readings, **changed)
    assert math.isnan(result.normalised_power_w[0])
    assert result.reason[0] == why


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
