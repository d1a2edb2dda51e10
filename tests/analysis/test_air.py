"""Density and pressure of air compared with published tables and independent formulas."""

import math

import numpy as np
import pandas as pd
import pytest

from analysis.air import moist_air_density, standard_pressure, vapour_pressure

#: How far five published methods for moist air lie apart at ordinary states: 0.055 % (check A17).
ACROSS_METHODS = 1e-3

STATES = [(15, 1013.25, 0), (20, 1013.25, 50), (25, 1000, 60), (30, 980, 80), (5, 950, 30)]
METHODS = {
    # Picard et al., Metrologia 45 (2008) 149-155, CIPM-2007, computed (check A17)
    "CIPM-2007": [1.22552, 1.19931, 1.16043, 1.11178, 1.18919],
    # MetPy 1.7.1, density by virtual temperature, computed (check A18)
    "virtual temperature": [1.22502, 1.19888, 1.16007, 1.11148, 1.18861],
    # CoolProp 8.0.0, humid air after ASHRAE RP-1485, computed (check A19)
    "RP-1485": [1.22557, 1.19936, 1.16047, 1.11182, 1.18923],
}


@pytest.mark.parametrize(
    ("air_temperature_c", "pressure_hpa", "expected"),
    [
        # ICAO Doc 7488 / ISO 2533 table, geometric altitude, as reproduced in the test data of
        # airinnova/ambiance (checks A1 to A3)
        pytest.param(15.0, 1013.250, 1.22500, id="0 m"),
        pytest.param(8.501, 898.763, 1.11166, id="1000 m"),
        pytest.param(2.004, 795.014, 1.00655, id="2000 m"),
    ],
)
def test_dry_air_matches_the_standard_atmosphere(air_temperature_c, pressure_hpa, expected):
    assert moist_air_density(air_temperature_c, pressure_hpa, 0.0) == pytest.approx(
        expected, abs=2e-5
    )


@pytest.mark.parametrize(
    ("altitude_m", "expected"),
    [(500, 1.16727), (1000, 1.11164), (1500, 1.05807), (2000, 1.00649), (3000, 0.90912)],
)
def test_pressure_and_density_follow_the_troposphere(altitude_m, expected):
    # ISO 2533:1975, layer equations at geopotential altitude, computed (check A6)
    cooled = 15.0 - 0.0065 * altitude_m
    density = moist_air_density(cooled, standard_pressure(altitude_m), 0.0)
    assert density == pytest.approx(expected, abs=3e-5)


@pytest.mark.parametrize(
    ("altitude_m", "expected_hpa"), [(-500, 1074.78), (500, 954.61), (1000, 898.75), (4000, 616.40)]
)
def test_standard_pressure_matches_a_handbook_table(altitude_m, expected_hpa):
    # ASHRAE Handbook Fundamentals 2017, chapter 1, as reproduced in the tests of PsychroLib (A5)
    assert standard_pressure(altitude_m) == pytest.approx(expected_hpa, abs=0.01)


def test_an_ordinary_room_by_the_iec_formula():
    # IEC 61400-12-1, R0 = 287.05, computed (check A9)
    assert moist_air_density(20.0, 1013.25, 50.0) == pytest.approx(1.19902, abs=1e-5)


@pytest.mark.parametrize(
    ("kelvin", "pressure_hpa", "expected"),
    [(280, 900, 1.11741), (285, 950, 1.15807), (290, 1000, 1.19702), (295, 1050, 1.23424)],
)
def test_another_gas_constant_shifts_by_its_own_size(kelvin, pressure_hpa, expected):
    # IEC 61400-12-1 with R0 = 287.058 as a public reference implementation has it (check A7)
    density = moist_air_density(kelvin - 273.15, pressure_hpa, 50.0)
    assert density / expected - 1 == pytest.approx(287.058 / 287.05 - 1, abs=1e-5)


@pytest.mark.parametrize(("name", "expected"), METHODS.items(), ids=METHODS)
def test_agrees_with_other_methods_for_moist_air(name, expected):
    ours = [moist_air_density(*map(float, state)) for state in STATES]
    assert ours == pytest.approx(expected, rel=ACROSS_METHODS)


@pytest.mark.parametrize(
    ("air_temperature_c", "pressure_hpa", "relative_humidity_pct", "expected"),
    [
        # NIST SOP 2 (NISTIR 6969) Appendix B, as in the tests of R masscor 0.0.7.1 (check A13)
        pytest.param(22.3, 748.1 * 1.333224, 37.0, 1.17194, id="NIST SOP 2, 1"),
        pytest.param(23.4, 612.3 * 1.333224, 23.0, 0.95632, id="NIST SOP 2, 3"),
        # R masscor 0.0.7.1 vignette, simplified CIPM formula (check A14)
        pytest.param(21.5, 751.0, 58.1, 0.8815681, id="simplified CIPM"),
        # OIML R 111-1, equation E.3-1, constants [memory] (check A15)
        pytest.param(20.0, 1013.25, 50.0, 1.19929, id="OIML R 111-1"),
        # R masscor 0.0.7.1 vignette, CIPM-2007 (check A11)
        pytest.param(20.0, 1013.25, 50.0, 1.199314, id="CIPM-2007"),
    ],
)
def test_agrees_with_mass_metrology(
    air_temperature_c, pressure_hpa, relative_humidity_pct, expected
):
    density = moist_air_density(air_temperature_c, pressure_hpa, relative_humidity_pct)
    assert density == pytest.approx(expected, rel=ACROSS_METHODS)


@pytest.mark.parametrize(
    ("air_temperature_c", "expected_pa"), [(5, 879.8), (15, 1655.0), (25, 3113.2), (30, 4269.8)]
)
def test_vapour_pressure_is_the_formulas_own_fit(air_temperature_c, expected_pa):
    # IEC 61400-12-1, computed (check A23)
    assert vapour_pressure(float(air_temperature_c)) == pytest.approx(expected_pa, abs=0.1)


@pytest.mark.parametrize(("air_temperature_c", "expected_pa"), [(5, 872.6), (25, 3169.7)])
def test_vapour_pressure_is_near_a_hygrometers_table(air_temperature_c, expected_pa):
    # ASHRAE Handbook Fundamentals 2017, chapter 1 (check A22); the fit is up to 2 % off
    assert vapour_pressure(float(air_temperature_c)) == pytest.approx(expected_pa, rel=0.02)


def test_moist_air_is_lighter_and_by_little():
    # A mixture of two ideal gases, e_s by Magnus, derived: 100 % at 25 °C weighs 1.2 % less
    lighter = moist_air_density(25.0, 1013.25, 100.0) / moist_air_density(25.0, 1013.25, 0.0)
    assert lighter == pytest.approx(0.988, abs=0.001)


def test_keeps_the_index_of_a_series():
    temperature = pd.Series([15.0, 8.5], index=["a", "b"])
    density = moist_air_density(temperature, pd.Series([1013.25, 898.746], index=["a", "b"]), 0.0)
    assert list(density.index) == ["a", "b"]


def test_takes_arrays_as_it_takes_numbers():
    many = moist_air_density(np.array([15.0, 20.0]), np.array([1013.25, 1013.25]), 50.0)
    assert many.tolist() == [
        moist_air_density(15.0, 1013.25, 50.0),
        moist_air_density(20.0, 1013.25, 50.0),
    ]


def test_a_mountain_room_is_thinner_than_the_same_room_at_the_sea():
    # ISO 2533 pressure at 1500 m, same room temperature: -16.6 %, derived
    ratio = standard_pressure(1500.0) / standard_pressure(0.0)
    assert math.isclose(ratio, 0.8345, abs_tol=5e-4)
