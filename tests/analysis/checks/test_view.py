"""The input of checks compared with pandas, and the fields of findings."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.checks.view import View, findings, make_finding

FEW = settings(max_examples=40)
NAMES = st.sampled_from(["a", "b", "c"])
ROWS = st.lists(st.tuples(NAMES, NAMES, NAMES, st.integers(0, 3)), max_size=12)


def framed(rows):
    """Return trials of some builds, benches, sessions and moments, in the order of their ids."""
    frame = pd.DataFrame(rows, columns=["build_id", "bench_id", "session_id", "started_at"])
    frame["session_id"] = frame["bench_id"] + frame["session_id"]
    return frame.assign(trial_id=[f"{at:03d}" for at in range(len(rows))], state="accepted")


def seen(trials=(), runs=(), confirmed=None):
    return View(pd.DataFrame(trials), pd.DataFrame(runs), None, confirmed=confirmed or {})


class TestAgainstPandas:
    @FEW
    @given(ROWS)
    def test_a_session_is_stood_for_by_its_first_trial(self, rows):
        frame = framed(rows)
        first = ~frame["session_id"].duplicated()
        assert seen(frame).first_of_session.tolist() == first.tolist()

    @FEW
    @given(ROWS)
    def test_trials_share_a_number_where_they_share_build_and_bench(self, rows):
        frame = framed(rows)
        numbers = pd.Series(seen(frame).build_at_bench, dtype=int)
        theirs = frame.groupby(["build_id", "bench_id"]).ngroup()
        assert theirs.groupby(numbers).nunique().eq(1).all()
        assert numbers.groupby(theirs).nunique().eq(1).all()

    @FEW
    @given(ROWS)
    def test_time_goes_by_the_start_and_then_by_the_id(self, rows):
        frame = framed(rows)
        in_time = frame.sort_values(["started_at", "trial_id"]).index
        assert seen(frame).in_time.tolist() == in_time.tolist()

    @FEW
    @given(st.lists(st.sampled_from(["record", "pitch", "load"])))
    def test_kinds_are_those_asked_for(self, kinds):
        frame = pd.DataFrame({"kind": kinds}, dtype=object)
        mask = seen(frame).kind("pitch", "load")
        assert mask.tolist() == frame["kind"].isin(["pitch", "load"]).tolist()

    def test_a_missing_number_is_not_a_number(self):
        view = seen({"pitch_deg": [12, None, 8.5]})
        assert view.number("pitch_deg").tolist() == pytest.approx([12, math.nan, 8.5], nan_ok=True)

    def test_readings_of_a_trial_are_its_volts_or_the_root_of_a_loggers_mean_square(self):
        runs = {"trial": [1, 0, 1], "voltage_v": [1.2, 9.0, math.nan],
                "mean_square_voltage_v2": [math.nan, math.nan, 1.44]}  # fmt: skip
        assert seen(runs=runs).voltages_of(1) == pytest.approx([1.2, 1.2])
        assert seen(runs=runs).voltages_of(2) == []


def test_a_check_is_asked_once_however_often_its_findings_are_needed():
    asked = []

    def check(view):
        asked.append(view)
        yield make_finding(0, "cold_fan", "warn", value=2.0)

    view = seen({"state": ["accepted"]})
    assert view.findings_of(check) == view.findings_of(check)
    assert len(asked) == 1
    assert len(view.holding(np.array([True])).findings_of(check)) == 1
    assert len(asked) == 2  # other trials count now, so it is asked again


def test_held_trials_are_held_and_withdrawn_ones_stay_withdrawn():
    states = ["accepted", "held", "withdrawn", "withdrawn"]
    view = seen({"state": states})
    held = view.holding(np.array([True, False, True, False]))
    assert held.text("state").tolist() == ["held", "accepted", "withdrawn", "withdrawn"]
    assert np.asarray(held.trials["state"]).tolist() == held.text("state").tolist()
    assert view.text("state").tolist() == states


TWO = {"trial_id": ["t0", "t1"], "session_id": ["s", "s"]}


class TestAnswers:
    @pytest.mark.parametrize(
        ("name", "place"), [("cold_fan", ("s", "cold_fan")), ("short_run", ("t1", "short_run"))]
    )
    def test_a_finding_is_about_its_session_or_its_trial(self, name, place):
        assert seen(TWO).place(make_finding(1, name, "warn", value=2.0)) == place

    @pytest.mark.parametrize(
        ("confirmed", "holds"),
        [({}, False), ({("t1", "short_run"): "2"}, True), ({("t1", "short_run"): "3"}, False),
         ({("t1", "short_run"): None}, True), ({("t0", "short_run"): "2"}, False),
         ({("t1", "jump"): "2"}, False)],
    )  # fmt: skip
    def test_an_answer_is_valid_for_its_thing_and_the_value_seen(self, confirmed, holds):
        view = seen(TWO, confirmed=confirmed)
        assert view.is_confirmed(make_finding(1, "short_run", "warn", value=2.0)) is holds


class TestFindings:
    def test_no_findings_where_the_mask_is_false(self):
        assert list(findings(np.zeros(3, dtype=bool), "short_run", "warn", value=1.0)) == []

    def test_each_trial_has_its_own_facts_and_fix(self):
        where, value = np.array([True, False, True]), np.array([1.0, 2.0, 3.0])
        first, last = findings(
            where, "cold_fan", "warn", value=value, usual=5.0, variant=["x", "y", "z"],
            fix=lambda at: {"thing": "session", "changes": {"warm_up_min": at}},
        )  # fmt: skip
        assert (first.trial, last.trial) == (0, 2)
        assert (first.facts, last.facts) == (
            {"value": 1.0, "usual": 5.0}, {"value": 3.0, "usual": 5.0},
        )  # fmt: skip
        assert (first.variant, last.variant) == ("x", "z")
        assert last.fix == {"thing": "session", "changes": {"warm_up_min": 2}}

    def test_facts_have_six_digits_and_seen_values_three(self):
        finding = make_finding(
            0, "runs_disagree", "hold", value=1.23456789, others=[0.1 + 0.2, 2 / 3]
        )
        assert finding.facts == {"value": 1.23457, "others": [0.3, 0.666667]}
        assert finding.seen == "1.23"

    @pytest.mark.parametrize(
        ("facts", "expected"),
        [({"value": 7.0, "words": "fan"}, "7"), ({"words": "fan", "variant": "both"}, "fan"),
         ({"variant": "future"}, "future"), ({}, "")],
    )  # fmt: skip
    def test_an_answer_is_about_the_value_else_the_words_else_the_variant(self, facts, expected):
        assert make_finding(0, "bench_changed", "hold", **facts).seen == expected

    def test_a_rule_that_is_not_in_the_table_is_refused(self):
        with pytest.raises(KeyError):
            make_finding(0, "cold_fan", "hold", value=2.0)
