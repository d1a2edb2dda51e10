"""Questions in the browser: filtered, answered one after the other, and many at once."""

import re

import pytest

from tests.support.makers import created, trial_payload
from tests.support.questions import held, session, state


@pytest.fixture
def coach(world, visiting):
    return visiting(world.larch.coach_key)


def flag_of(trial, rule="wind_unit_slip"):
    return next(flag["id"] for flag in trial["flags"] if flag["rule"] == rule)


class TestRefused:
    def test_many_answers_are_all_or_none(self, world):
        one, other = (held(world, volts=(1.3 + at, 1.29 + at, 1.31 + at)) for at in (0, 0.01))
        ids = [flag_of(one), flag_of(other)]
        world.larch.coach.post(f"/v1/flags/{ids[0]}/answer", json={"answer": "accept_fix"})
        answer = world.larch.coach.post(
            "/v1/flags/answers", json={"flag_ids": ids, "answer": "accept_fix"}
        )
        assert answer.status_code == 409
        assert state(world, other) == "held"

    def test_a_trial_that_counts_is_not_reinstated(self, world):
        path = f"/v1/trials/{world.larch.trial_id}/reinstate"
        assert world.larch.coach.post(path, json={"reason": "x y"}).status_code == 409

    def test_a_reason_is_kept_with_the_question_when_it_is_missing(self, world, coach):
        flag = flag_of(held(world))
        back = "/questions/next?rule=wind_unit_slip"
        page = coach.post(f"/flags/{flag}/answer", data={"answer": "confirm", "back": back})
        assert page.status_code == 422
        assert "/questions/next?rule=wind_unit_slip" in page.text


class TestOneByOne:
    def test_a_proposal_says_what_would_be_stored(self, world, coach):
        trial = held(world)
        page = coach.get(f"/trials/{trial['id']}").text
        assert "Change the readings to 4.202 m/s, 4.202 m/s, 4.202 m/s" in page
        assert "Withdraw the trial" in page

    def test_answering_one_leads_to_the_next(self, world, coach):
        first, second = (held(world, session(world, day)) for day in (2, 3))
        query = f"team_id={world.larch.team_id}&rule=wind_unit_slip"
        listed = coach.get(f"/questions?{query}").text
        assert f"/questions/next?{query}".replace("&", "&amp;") in listed
        step = coach.get(f"/questions/next?{query}")
        assert f"/flags/{flag_of(first)}" in step.headers["location"]
        page = coach.get(step.headers["location"]).text
        back = re.search(r'name="back" value="([^"]+)"', page)[1].replace("&amp;", "&")
        done = coach.post(
            f"/flags/{flag_of(first)}/answer", data={"answer": "accept_fix", "back": back}
        )
        onwards = coach.get(done.headers["location"])
        assert f"/flags/{flag_of(second)}" in onwards.headers["location"]

    def test_a_list_is_narrowed_by_team(self, world, coach):
        fields = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
        other = created(world.larch.coach.post("/v1/teams", json=fields | {"name": "Larch two"}))
        trial = held(world)
        assert flag_of(trial) in coach.get(f"/questions?team_id={world.larch.team_id}").text
        assert flag_of(trial) not in coach.get(f"/questions?team_id={other['id']}").text

    def test_after_the_last_question_nobody_is_led_on_to_what_only_looks_odd(self, world, coach):
        answered = {"answer": "confirm", "reason": "read twice"}
        for flag in world.larch.coach.get("/v1/flags?state=open&severity=hold").json()["items"]:
            world.larch.coach.post(f"/v1/flags/{flag['id']}/answer", json=answered)
        payload = trial_payload(world.larch, session_id=session(world, 9), client_ref="odd")
        odd = created(world.larch.coach.post("/v1/trials", json=payload))
        assert {flag["severity"] for flag in odd["flags"]} == {"warn"}
        assert coach.get("/questions/next").headers["location"] == "/questions"
        page = coach.get("/questions").text
        assert "No question needs an answer here." in page
        assert "/questions?severity=warn" in page
        listed = coach.get("/questions?severity=warn").text
        assert f"/flags/{odd['flags'][0]['id']}?severity=warn" in listed

    def test_what_was_stored_is_said_beside_the_next_question(self, world, coach):
        first, second = (held(world, session(world, day)) for day in (2, 3))
        fields = {"answer": "accept_fix", "back": "/questions/next"}
        done = coach.post(f"/flags/{flag_of(first)}/answer", data=fields)
        page = coach.get(coach.get(done.headers["location"]).headers["location"])
        assert f"/flags/{flag_of(second)}/answer" in page.text
        assert "Stored for" in page.text
        assert ": Corrected." in page.text

    def test_correcting_by_hand_leads_to_the_next_question_too(self, world, coach):
        first, _ = (held(world, session(world, day)) for day in (2, 3))
        page = coach.get(f"/flags/{flag_of(first)}").text
        link = re.search(rf'href="(/trials/{first["id"]}/correct[^"]*)"', page)[1]
        typed = {"reason": "typed in mph", "voltage_1": "1,31", "load_connected": "yes"}
        typed |= {name: first[name] for name in ("session_id", "build_id", "kind")}
        done = coach.post(link.replace("&amp;", "&"), data=typed)
        assert done.status_code == 303
        assert done.headers["location"] == f"/questions/next?answered={flag_of(first)}"
        onwards = coach.get(done.headers["location"]).headers["location"]
        assert coach.get(onwards).status_code == 200

    def test_what_is_left_at_all_narrows_nothing(self, world, coach):
        trial = held(world)
        of_team = f"organisation_id=&team_id={world.larch.team_id}&season_id=&rule="
        assert flag_of(trial) in coach.get(f"/questions?{of_team}").text
        of_school = f"organisation_id={world.larch.organisation_id}&team_id=&season_id=&rule="
        assert flag_of(trial) in coach.get(f"/questions?{of_school}").text


class TestManyAtOnce:
    def test_one_slip_of_a_session_is_answered_once(self, world, coach):
        here = session(world, 2)
        trials = [held(world, here, (1.3 + at, 1.29 + at, 1.31 + at)) for at in (0, 0.01, 0.02)]
        elsewhere = held(world, session(world, 3))
        page = coach.get(f"/flags/{flag_of(trials[0])}").text
        assert "3 questions of this session have the same cause" in page
        done = coach.post(f"/flags/{flag_of(trials[0])}/answer-all", data={"back": "/questions"})
        assert done.status_code == 303
        assert {state(world, trial) for trial in trials} == {"accepted"}
        assert state(world, elsewhere) == "held"


class TestReinstated:
    def test_both_steps_stay_in_the_history(self, world, coach):
        runs = [{"voltage_v": volts} for volts in (1.22, 1.21, 1.23)]
        payload = trial_payload(world.larch, client_ref="r", runs=runs)
        trial = created(world.larch.coach.post("/v1/trials", json=payload))
        before = world.larch.coach.get(f"/v1/seasons/{world.season_id}/report").json()["trials"]
        path = f"/trials/{trial['id']}"
        assert coach.post(f"{path}/withdraw", data={"reason": "loose"}).status_code == 303
        assert "Reinstate this trial" in coach.get(path).text
        assert coach.post(f"{path}/reinstate", data={"reason": "it was tight"}).status_code == 303
        assert state(world, trial) == "accepted"
        report = world.larch.coach.get(f"/v1/seasons/{world.season_id}/report").json()
        assert report["trials"] == before
        actions = [
            (entry["action"], entry["reason"])
            for entry in world.larch.coach.get(f"/v1/trials/{trial['id']}/history").json()["items"]
        ]
        assert actions[-2:] == [("withdrawn", "loose"), ("reinstated", "it was tight")]

    def test_a_question_that_was_answered_by_withdrawing_is_asked_again(self, world, coach):
        trial = held(world)
        coach.post(
            f"/flags/{flag_of(trial)}/answer", data={"answer": "withdraw_trial", "reason": "odd"}
        )
        coach.post(f"/trials/{trial['id']}/reinstate", data={"reason": "it can be corrected"})
        assert state(world, trial) == "held"
