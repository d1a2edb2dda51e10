"""A trial that the rest of the season does not expect: asked about, never left out silently."""

import pytest

from api.services.season.odd_trial_words import likely_cause
from tests.support.makers import World, build_payload, created, trial_payload
from tests.support.odd_trials import submit_odd


@pytest.fixture
def odd(world: World) -> dict:
    return submit_odd(world.larch)


def comparison(world: World, who) -> dict:
    return who.get(f"/v1/seasons/{world.season_id}/comparison").json()


def confirm(who, trial: dict, reason: str = "measured again, and it is the same"):
    return who.post(f"/v1/trials/{trial['id']}/confirm", json={"reason": reason})


def test_a_withdrawn_trial_is_not_confirmed(world: World, odd: dict):
    path = f"/v1/trials/{odd['id']}/withdraw"
    assert world.larch.coach.post(path, json={"reason": "no load"}).status_code == 200
    assert confirm(world.larch.coach, odd).status_code == 409


def test_it_is_asked_about_with_the_likely_cause(world: World, odd: dict):
    (found,) = comparison(world, world.larch.coach)["odd_trials"]
    assert (found["trial_id"], found["likely_cause"]) == (odd["id"], "no_load")
    # (1.9/1.2)² of the power of the others.
    assert found["ratio"] == pytest.approx(2.5, abs=0.15)
    assert "Was the load connected" in found["sentence"]


def test_of_two_that_contradict_each_other_both_are_asked_about(world: World):
    """The only two trials of a build, one of which has (1.9/1.2)² = 2.5 times the power."""
    for at in range(6):
        runs = [{"voltage_v": 1.2 + 0.003 * at}] * 3
        created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, runs=runs)))
    new = build_payload(world.larch.turbine_id, number=2)
    build = created(world.larch.coach.post("/v1/builds", json=new))
    for volts, pitch in ((1.25, 12.0), (1.98, 25.0)):
        asked = trial_payload(
            world.larch, build_id=build["id"], runs=[{"voltage_v": volts}] * 3, pitch_deg=pitch
        )
        created(world.larch.coach.post("/v1/trials", json=asked))
    found = comparison(world, world.larch.coach)["odd_trials"]
    assert {each["build_id"] for each in found} == {build["id"]}
    causes = [each["likely_cause"] for each in found]
    assert len(causes) == 2
    assert "contradiction" in causes
    assert all(each["ratio"] == pytest.approx(2.5, abs=0.2) for each in found)


def test_another_school_learns_nothing_of_it(world: World, odd: dict):
    assert comparison(world, world.birch.coach)["odd_trials"] == []


def test_confirmed_it_counts(world: World, odd: dict):
    before = comparison(world, world.lead)["builds"][0]["fair_power_w"]
    answer = confirm(world.larch.coach, odd)
    assert answer.status_code == 200, answer.text
    assert comparison(world, world.lead)["odd_trials"] == []
    again = confirm(world.larch.coach, odd, "still sure")
    assert again.status_code == 200
    after = comparison(world, world.lead)["builds"][0]["fair_power_w"]
    assert before is None or after > before


def test_the_trial_shows_who_confirmed_it_and_why(world: World, odd: dict):
    confirm(world.larch.coach, odd)
    shown = world.larch.coach.get(f"/v1/trials/{odd['id']}").json()
    (flag,) = [flag for flag in shown["flags"] if flag["rule"] == "unlike_season"]
    assert (flag["state"], flag["reason"]) == ("confirmed", "measured again, and it is the same")
    history = world.larch.coach.get(f"/v1/flags/{flag['id']}").json()
    assert history["message"] == "All other trials of the season predict another power."


def test_a_correction_asks_again(world: World, odd: dict):
    """What was confirmed was about the values of then; another note changes none."""
    confirm(world.larch.coach, odd)
    path = f"/v1/trials/{odd['id']}/corrections"
    asked = {"reason": "misread", "changes": {"note": "by the window"}}
    assert world.larch.coach.post(path, json=asked).status_code == 201
    assert comparison(world, world.lead)["odd_trials"] == []
    asked = {"reason": "misread", "changes": {"runs": [{"voltage_v": 1.95}] * 3}}
    assert world.larch.coach.post(path, json=asked).status_code == 201
    assert [each["trial_id"] for each in comparison(world, world.lead)["odd_trials"]] == [odd["id"]]


@pytest.mark.parametrize(
    ("ratio", "cause"),
    [(1.24, "unknown"), (1.3, "fan_setting"), (2.0, "no_load"), (6.0, "no_load"),
     (6.1, "unknown"), (0.4, "fan_setting"), (0.3, "unknown")],
)  # fmt: skip
def test_the_cause_follows_the_size(ratio, cause):
    assert likely_cause(ratio) == cause
