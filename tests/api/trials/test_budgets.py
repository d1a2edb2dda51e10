"""The uncertainty budget of a trial over the API and on its page."""

import math

import pytest

from tests.support.makers import World, created, trial_payload


def budget(client, trial_id):
    answer = client.get(f"/v1/trials/{trial_id}/uncertainty")
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_trial_without_power_has_no_terms_and_a_reason(world: World):
    asked = trial_payload(world.larch, kind="open_circuit", load_connected=False, load_ohm=None)
    trial = created(world.larch.coach.post("/v1/trials", json=asked))
    body = budget(world.larch.coach, trial["id"])
    assert (body["terms"], body["u_total_pct"]) == ([], None)
    assert "no budget" in body["sentence"]


def test_terms_add_up_to_the_trials_uncertainty(world: World):
    body = budget(world.larch.coach, world.larch.trial_id)
    result = world.larch.coach.get(f"/v1/trials/{world.larch.trial_id}").json()["result"]
    assert math.hypot(*(term["u_pct"] for term in body["terms"])) == (
        pytest.approx(100 * result["u_total"])
    )
    own = [term["u_pct"] for term in body["terms"] if term["part"] == "own"]
    assert math.hypot(*own) == pytest.approx(100 * result["u_own"])
    assert sum(term["share_pct"] for term in body["terms"]) == pytest.approx(100)
    assert body["normalised_power_w"] == result["normalised_power_w"]


def test_the_largest_term_says_what_would_reduce_it(world: World):
    body = budget(world.larch.coach, world.larch.trial_id)
    assert body["terms"][0]["term"] == "wind_meter"
    assert "% of the uncertainty is the wind meter" in body["sentence"]


def test_a_coarse_range_makes_the_voltmeter_matter_more(world: World):
    def voltage(**changed):
        asked = trial_payload(world.larch, runs=[{"voltage_v": 0.21}] * 3, **changed)
        trial = created(world.larch.coach.post("/v1/trials", json=asked))
        terms = budget(world.larch.coach, trial["id"])["terms"]
        return next(term["u_pct"] for term in terms if term["term"] == "voltage")

    assert voltage(meter_range_v=20.0) > 5 * voltage(meter_range_v=2.0)
