"""The invented season: the same for one seed, with the properties in its parameters."""

import csv
import math
import statistics
from pathlib import Path

import pytest

from scripts.invented_season import density_kg_m3, standard_pressure_hpa
from scripts.make_season import label_rows, make, trial_rows, write_season

SEED = Path(__file__).parents[2] / "demo_seed"


@pytest.fixture(scope="module")
def seasons():
    return [make(SEED, seed) for seed in range(1, 13)]


def test_the_files_are_what_the_seed_gives(tmp_path):
    write_season(make(SEED), tmp_path)
    for path in tmp_path.iterdir():
        assert path.read_bytes() == (SEED / path.name).read_bytes(), path.name


def test_its_air_is_the_mixture_of_two_gases():
    # worked: 101325 Pa, 20 °C, 50 % → 1.1989; 95000 Pa, 22 °C, 45 % → 1.1160 (Magnus, derived)
    assert density_kg_m3(20, 1013.25, 50) == pytest.approx(1.1989, abs=5e-5)
    assert density_kg_m3(22, 950, 45) == pytest.approx(1.1160, abs=5e-5)
    assert standard_pressure_hpa(1000) == pytest.approx(898.75, abs=0.01)  # ASHRAE (check A5)


def test_size_is_as_promised(seasons):
    readings = [sum(len(trial.volts) for _, trial in season.trials) for season in seasons]
    assert 1_150 < statistics.mean(readings) < 1_650


def test_powers_are_as_promised(seasons):
    """Clean record readings have their middle near 49 mW."""
    powers = [
        volts**2 / trial.load_ohm
        for season in seasons
        for _, trial in season.trials
        for volts in trial.volts
        if trial.typed["kind"] == "record" and not trial.mistakes and not trial.run_mistakes
    ]
    assert statistics.median(powers) == pytest.approx(0.049, rel=0.3)


def test_about_one_reading_in_eight_carries_a_mistake(seasons):
    rows = [row for season in seasons for row in label_rows(season)]
    share = statistics.mean(bool(row["mistake"]) for row in rows)
    assert 0.09 < share < 0.19


def test_the_reference_rotor_is_never_mistyped(seasons):
    for season in seasons:
        for _, trial in season.trials:
            if trial.typed["kind"] == "reference":
                assert not trial.mistakes
                assert not trial.run_mistakes


def test_labels_are_in_no_file_that_is_submitted(seasons):
    for school in seasons[0].parameters["schools"]:
        columns = set(trial_rows(seasons[0], school)[0])
        assert not columns & {"truth_ln_p", "mistake"}
    for path in SEED.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            assert not set(next(csv.reader(file))) & {"truth_ln_p", "mistake"}


def test_teams_get_better(seasons):
    """Median growth of the true power from the first build to the last is about 3.6."""
    growth = [
        math.exp(team.builds[-1].ln_power - team.builds[0].ln_power)
        for season in seasons
        for team in season.teams
    ]
    assert 2 < statistics.median(growth) < 6
