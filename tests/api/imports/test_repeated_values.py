"""Trials validated part by part equal those that are validated as one shape."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from api.models.trials.trials import MOST_RUNS, TrialCreate
from api.services.imports.repeated_values import STAND_IN, validated

LOADS = st.sampled_from([None, 0.0, 0.01, 30.1, 2e6, float("nan")])
SETTINGS = st.fixed_dictionaries(
    {"kind": st.sampled_from(["record", "wind", "reference", "no such kind"])},
    optional={
        "load_ohm": LOADS,
        "load_kohm": st.sampled_from([0.0301, 1e5]),
        "load_connected": st.booleans(),
        "pitch_deg": st.sampled_from([-91.0, 0.0, 8.5, 90.0]),
        "blade_pitches_deg": st.lists(st.sampled_from([8.0, 9.0, 95.0]), max_size=3),
        "meter_range_v": st.sampled_from([0.0, 2.0, 20.0]),
        "wind_speed_mph": st.sampled_from([0.1, 9.2, 99.0]),
    },
)
RUNS = st.fixed_dictionaries(
    {},
    optional={
        "voltage_v": st.sampled_from([None, -0.1, 1.2, 61.0]),
        "voltage_mv": st.sampled_from([1200.0, 70_000.0]),
        "current_a": st.sampled_from([0.04, 11.0]),
        "series_voltage_v": st.lists(st.sampled_from([1.1, 1.2, 99.0]), max_size=3),
    },
)
FACTS = st.builds(
    lambda setting, runs, ref, note: setting | {"runs": runs, "client_ref": ref, "note": note},
    SETTINGS,
    st.lists(RUNS, max_size=4),
    st.sampled_from([None, "", "t-017", " t-017 ", "x" * 61, "a\x00b"]),
    st.sampled_from([None, "Blades sanded", "x" * 501]),
)


def outcome(validate, facts):
    """Return the trial as values, or None if it was refused."""
    try:
        trial = validate(facts)
    except ValidationError:
        return None
    return trial.model_dump(), trial.typed(), [run.typed() for run in trial.runs]


@given(FACTS)
def test_trials_and_refusals_are_those_of_the_shape(facts):
    expected = outcome(lambda values: TrialCreate.model_validate(STAND_IN | values), facts)
    assert outcome(validated, facts) == expected


def test_a_trial_with_too_many_runs_is_refused():
    facts = {"kind": "record", "client_ref": None, "note": None}
    with pytest.raises(ValidationError, match=str(MOST_RUNS)):
        validated(facts | {"runs": [{"voltage_v": 1.2}] * (MOST_RUNS + 1)})


@pytest.mark.parametrize("name", ["session_id", "build_id"])
def test_an_id_set_for_one_trial_leaves_another_of_the_same_setting(name):
    facts = {"kind": "record", "client_ref": None, "note": None, "runs": [{"voltage_v": 1.2}]}
    first, second = validated(facts), validated(facts)
    setattr(first, name, "another")
    assert getattr(second, name) == STAND_IN[name]
    assert first.runs[0] is second.runs[0]
