"""The uncertainty budget of a trial, against a reference library and the worked example."""

import math

import pytest
from uncertainties import ufloat, umath

from analysis.errors import InvalidInput
from analysis.trials.budget import uncertainty_budget
from tests.support.trial_columns import result_of


def test_a_trial_without_power_has_no_budget():
    with pytest.raises(InvalidInput):
        uncertainty_budget(result_of(kind="open_circuit"))


def terms_of(results):
    return {line.term: line for line in uncertainty_budget(results)}


def test_the_budget_adds_up():
    results = result_of()
    budget = uncertainty_budget(results)
    assert math.hypot(*(line.u_power for line in budget)) == pytest.approx(results.u_total[0])
    own = [line.u_power for line in budget if line.part == "own"]
    assert math.hypot(*own) == pytest.approx(results.u_own[0])
    assert sum(line.share for line in budget) == pytest.approx(1)
    assert budget == sorted(budget, key=lambda line: -line.u_power)


def test_contributions_are_those_of_a_reference_library():
    """The package `uncertainties` differentiates P = V²/R (v_ref/v)ⁿ (ρ_ref/ρ)ᵐ by itself."""
    lines = terms_of(result_of())
    volts, ohms, speed, density = 1.2, 30.1, 4.2, 1.1160
    given = {
        "voltage": ufloat(volts, volts * lines["voltage"].u_input),
        "load": ufloat(ohms, ohms * lines["load"].u_input),
        "wind_meter": ufloat(1, lines["wind_meter"].u_input),
        "wind_profile": ufloat(1, lines["wind_profile"].u_input),
        "fan_setting": ufloat(1, lines["fan_setting"].u_input),
        "air_density": ufloat(density, density * lines["air_density"].u_input),
        "wind_exponent": ufloat(2.6, 0.4),
        "density_exponent": ufloat(0.5, 0.3),
    }
    wind = speed * given["wind_meter"] * given["wind_profile"] * given["fan_setting"]
    power = (
        given["voltage"] ** 2 / given["load"]
        * umath.exp(given["wind_exponent"] * umath.log(4.0 / wind))
        * umath.exp(given["density_exponent"] * umath.log(1.225 / given["air_density"]))
    )  # fmt: skip
    for name, value in given.items():
        expected = power.error_components()[value] / power.nominal_value
        assert lines[name].u_power == pytest.approx(expected, rel=2e-3), name


def test_the_worked_example_is_nearly_all_wind():
    """METHOD.md, section 3: 5.1 % own, 14.3 % bench; 4 %/√3 of runs, 3 % of the session."""
    lines = terms_of(result_of())
    assert lines["runs"].u_power == pytest.approx(0.04 / math.sqrt(3))
    assert lines["session"].u_power == pytest.approx(0.03)
    assert lines["wind_meter"].u_power == pytest.approx(2.6 * 0.04483, rel=2e-3)
    assert next(iter(lines)) == "wind_meter"
    wind = sum(lines[name].share for name in ("wind_meter", "wind_profile", "fan_setting"))
    assert 0.8 < wind < 0.95


def test_without_a_meter_range_the_voltage_is_assumed():
    assert terms_of(result_of(meter_range_v=math.nan))["voltage"].u_power > (
        terms_of(result_of())["voltage"].u_power
    )
