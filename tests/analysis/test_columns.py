"""Names of quantities have units, and every column is read somewhere."""

import math

import numpy as np
import pandas as pd
import pytest

from analysis import columns
from analysis.checks.all_checks import check_trials
from analysis.checks.view import View
from analysis.columns import (
    CHECK_COLUMNS,
    CHECK_RUN_COLUMNS,
    CHECK_TEXT_COLUMNS,
    POWER_KINDS,
    RUN_COLUMNS,
    TEXT_COLUMNS,
    TRIAL_COLUMNS,
    UNITS,
    numbers,
    or_default,
)
from analysis.trials.results import trial_results
from tests.support.checked_trials import PLAIN, REFERENCE, view_of
from tests.support.trial_columns import result_of

#: How each unit is written at the end of a name; the longest that fits is meant.
ENDINGS = {
    "_kg_m3": "kg/m³", "_w_m2": "W/m²", "_v_s_rad": "V·s/rad", "_m_s": "m/s", "_m2": "m²",
    "_min": "min", "_rpm": "1/min", "_hpa": "hPa", "_pct": "%", "_ohm": "Ω", "_deg": "°",
    "_kg": "kg", "_c": "°C", "_m": "m", "_a": "A", "_s": "s", "_v": "V", "_w": "W",
}  # fmt: skip
GROUPS = {name: getattr(columns, name) for name in dir(columns) if name.endswith("COLUMNS")}


def unit_of(name):
    fitting = [ending for ending in ENDINGS if name.endswith(ending)]
    return ENDINGS[max(fitting, key=len)] if fitting else None


@pytest.mark.parametrize("name", UNITS)
def test_a_name_ends_with_its_unit(name):
    assert unit_of(name) == UNITS[name]


@pytest.mark.parametrize("group", GROUPS)
def test_no_column_occurs_twice(group):
    assert len(set(GROUPS[group])) == len(GROUPS[group])


def test_columns_of_the_checks_are_not_columns_of_results():
    assert not set(CHECK_COLUMNS) & set(TRIAL_COLUMNS)
    assert not set(CHECK_RUN_COLUMNS) & set(RUN_COLUMNS)


def test_words_are_columns_and_have_no_unit():
    assert set(TEXT_COLUMNS) <= set(TRIAL_COLUMNS)
    assert set(CHECK_TEXT_COLUMNS) <= set(CHECK_COLUMNS)
    assert not any(unit_of(name) for name in TEXT_COLUMNS + CHECK_TEXT_COLUMNS)


def some_trials():
    """Return trials of two builds and the reference rotor, as the checks see them."""
    return view_of(PLAIN, REFERENCE, {"build_id": "b2", "build_number": 2.0})


class TestEveryColumnIsRead:
    """Without any one of them nothing is calculated."""

    @pytest.mark.parametrize("name", TRIAL_COLUMNS)
    def test_of_a_trial(self, name):
        view = some_trials()
        with pytest.raises(KeyError, match=name):
            trial_results(view.trials.drop(columns=name), view.runs)

    @pytest.mark.parametrize("name", RUN_COLUMNS)
    def test_of_a_run(self, name):
        view = some_trials()
        with pytest.raises(KeyError, match=name):
            trial_results(view.trials, view.runs.drop(columns=name))

    @pytest.mark.parametrize("name", CHECK_COLUMNS)
    def test_of_a_trial_by_the_checks(self, name):
        view = some_trials()
        with pytest.raises(KeyError, match=name):
            check_trials(View(view.trials.drop(columns=name), view.runs, view.results))

    @pytest.mark.parametrize("name", CHECK_RUN_COLUMNS)
    def test_of_a_run_by_the_checks(self, name):
        view = some_trials()
        with pytest.raises(KeyError, match=name):
            check_trials(View(view.trials, view.runs.drop(columns=name), view.results))

    def test_and_none_beside_is_needed(self):
        view = some_trials()
        named = view.trials[[*TRIAL_COLUMNS, *CHECK_COLUMNS]]
        of_runs = view.runs[[*RUN_COLUMNS, *CHECK_RUN_COLUMNS]]
        results = trial_results(named[list(TRIAL_COLUMNS)], of_runs[list(RUN_COLUMNS)])
        assert check_trials(View(named, of_runs, results)) == check_trials(view)


@pytest.mark.parametrize("kind", POWER_KINDS)
def test_kinds_with_a_load_give_power(kind):
    assert result_of(kind=kind).power_w[0] == pytest.approx(1.44 / 30.1)


@pytest.mark.parametrize("kind", ["open_circuit", "something else"])
def test_other_kinds_give_none(kind):
    assert math.isnan(result_of(kind=kind).power_w[0])


def test_numbers_and_defaults_for_missing_ones():
    column = pd.Series([1, None, 3], dtype="float")
    assert numbers(column).dtype == np.float64
    assert or_default(column, 9.0).tolist() == column.fillna(9.0).tolist()
