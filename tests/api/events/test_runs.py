"""The drawn order of an event, its official runs, drift and places."""

import math

import pytest

from tests.support.events import event, patch
from tests.support.makers import (
    World,
    build_payload,
    created,
    session_payload,
)


class TestRunOrder:
    def test_the_same_seed_gives_the_same_order(self, world: World):
        draws = [world.lead.post(f"{event(world)}/run-order", json={"seed": seed}).json()
                 for seed in (5, 5, 6)]  # fmt: skip
        assert draws[0]["slots"] == draws[1]["slots"]
        assert world.lead.get(f"{event(world)}/run-order").json()["seed"] == 6
        words = [slot["words"] for slot in draws[0]["slots"]]
        assert words[0] == words[-1] == "reference rotor"
        assert sorted(words[1:-1]) == ["Birch one (Birch school)", "Larch one (Larch school)"]

    def test_a_seed_of_its_own_is_kept(self, world: World):
        drawn = created(world.lead.post(f"{event(world)}/run-order", json={}))
        again = created(world.lead.post(f"{event(world)}/run-order", json={"seed": drawn["seed"]}))
        assert again["slots"] == drawn["slots"]

    def test_another_schools_team_is_not_named(self, world: World):
        words = [slot["words"] for slot in
                 world.larch.coach.get(f"{event(world)}/run-order").json()["slots"]]  # fmt: skip
        assert sorted(words) == [
            "Larch one (Larch school)", "another team", "reference rotor", "reference rotor"
        ]  # fmt: skip
        school = f"/v1/organisations/{world.birch.organisation_id}"
        patch(world.lead, school, sharing="named")
        assert "Birch one" in world.larch.coach.get(f"{event(world)}/run-order").text


class TestResults:
    def day(self, world):
        asked = session_payload(world.larch, started_at="2026-05-16T09:00:00Z")
        return created(world.larch.coach.post("/v1/sessions", json=asked))["id"]

    def run(self, position, build_id, volts, **changed):
        trial = {"load_ohm": 30.1, "load_connected": True, "runs": [{"voltage_v": volts}]}
        return {"position": position, "build_id": build_id, "trial": trial} | changed

    @pytest.fixture(autouse=True)
    def _best_of_two(self, world: World, request):
        if "as_many" not in request.node.name:
            assert patch(world.lead, event(world), best_of=2).status_code == 200

    def send(self, world, *runs, session=None, client=None):
        asked = {"session_id": session or self.day(world), "runs": list(runs)}
        return (client or world.lead).post(f"{event(world)}/results", json=asked)

    def test_a_coach_answers_no_question_about_an_official_run(self, world: World):
        """What a flag proposes would move the places: a lead's to decide, as a correction is."""
        runs = [{"voltage_v": volts} for volts in (0.12, 1.2, 1.21)]
        trial = {"load_ohm": 30.1, "load_connected": True, "runs": runs}
        run = {"position": 1, "build_id": world.larch.build_id, "trial": trial}
        assert self.send(world, run).status_code == 200
        listed = world.larch.coach.get("/v1/flags?state=open&severity=hold").json()["items"]
        (flag,) = [each["id"] for each in listed if each["rule"] == "runs_disagree"]
        for given in ("accept_fix", "confirm", "withdraw_trial"):
            asked = {"answer": given, "reason": "we saw it"}
            one = world.larch.coach.post(f"/v1/flags/{flag}/answer", json=asked)
            many = world.larch.coach.post("/v1/flags/answers", json=asked | {"flag_ids": [flag]})
            assert (one.status_code, many.status_code) == (403, 403), given
        asked = {"answer": "accept_fix"}
        assert world.lead.post(f"/v1/flags/{flag}/answer", json=asked).status_code == 200

    def worked(self, world, last=1.3):
        """Reference at 1 and 5; larch at 2 and 4, birch at 3 which does not finish."""
        return (
            self.run(1, world.reference_build_id, 1.3),
            self.run(2, world.larch.build_id, 1.2),
            {"position": 3, "build_id": world.birch.build_id, "outcome": "did_not_finish"},
            self.run(4, world.larch.build_id, 1.25),
            self.run(5, world.reference_build_id, last),
        )

    def test_by_hand(self, world: World):
        """Reference 1.30 then 1.27 V: ln P falls by 0.0467; at 2 it is a quarter of the way.

        Mean is half-way, so the run at 2 is lowered by 0.0117 and that at 4 raised by as much.
        """
        body = self.send(world, *self.worked(world, last=1.27)).json()
        power = {run["position"]: run for run in body["runs"]}
        fall = 2 * math.log(1.30 / 1.27)
        assert body["drifts"][0]["drift_pct"] == pytest.approx(100 * math.expm1(fall))
        assert power[2]["power_w"] == pytest.approx(1.2**2 / 30.1)
        assert power[2]["corrected_power_w"] == pytest.approx(1.2**2 / 30.1 * math.exp(-fall / 4))
        assert power[4]["corrected_power_w"] == pytest.approx(1.25**2 / 30.1 * math.exp(fall / 4))
        assert power[3]["outcome"] == "did_not_finish"
        assert power[3]["team_name"] == "Birch one (Birch school)"
        (first,) = body["places"]
        assert first["team_name"] == "Larch one (Larch school)"
        assert first["best_w"] == power[4]["corrected_power_w"]
        assert first["runs"] == 2

    def test_beyond_six_per_cent_places_wait_for_a_decision(self, world: World):
        """1.30 to 1.25 V is 7.8 % of power."""
        body = self.send(world, *self.worked(world, last=1.25)).json()
        assert (body["places"], body["drifts"][0]["needs_decision"]) == (None, True)
        assert "drift_decision" in body["reason"]
        assert patch(world.lead, event(world), drift_decision="as_run").status_code == 200
        (first,) = world.lead.get(f"{event(world)}/results").json()["places"]
        assert first["best_w"] == pytest.approx(1.25**2 / 30.1)

    def test_sent_again_it_changes_nothing(self, world: World):
        session = self.day(world)
        first = self.send(world, *self.worked(world), session=session).json()
        again = self.send(world, *self.worked(world), session=session).json()
        assert again["runs"] == first["runs"]
        trials = world.lead.get("/v1/trials", params={"session_id": session}).json()["items"]
        assert sorted(trial["kind"] for trial in trials) == ["event", "event", "reference",
                                                             "reference"]  # fmt: skip

    def test_a_stored_run_is_withdrawn_before_it_did_not_finish(self, world: World):
        session = self.day(world)
        first = self.send(world, *self.worked(world), session=session).json()
        gone = {"position": 4, "build_id": world.larch.build_id, "outcome": "did_not_finish"}
        refused = self.send(world, gone, session=session)
        assert (refused.status_code, "withdraw its trial" in refused.text) == (409, True)
        trials = world.lead.get("/v1/trials", params={"session_id": session}).json()["items"]
        (trial,) = [each for each in trials if each["client_ref"].endswith("-4")]
        path = f"/v1/trials/{trial['id']}/withdraw"
        assert world.lead.post(path, json={"reason": "the load fell off"}).is_success
        body = self.send(world, gone, session=session).json()
        assert [run["outcome"] for run in body["runs"] if run["position"] == 4] == [
            "did_not_finish"
        ]  # fmt: skip
        assert body["places"][0]["best_w"] < first["places"][0]["best_w"]

    def test_a_place_with_the_wrong_build_is_put_right(self, world: World):
        session = self.day(world)
        self.send(world, *self.worked(world), session=session)
        trials = world.lead.get("/v1/trials", params={"session_id": session}).json()["items"]
        (trial,) = [each for each in trials if each["client_ref"].endswith("-4")]
        path = f"/v1/trials/{trial['id']}/withdraw"
        assert world.lead.post(path, json={"reason": "it was Birch"}).is_success
        done = self.send(world, self.run(4, world.birch.build_id, 1.25), session=session)
        assert done.status_code == 200, done.text
        assert done.json()["places"][0]["team_name"] == "Birch one (Birch school)"
        again = self.send(world, self.run(4, world.birch.build_id, 1.25), session=session)
        assert again.json()["runs"] == done.json()["runs"]

    def test_two_rotors_do_not_pass_for_drift(self, world: World):
        rotor = created(world.lead.post("/v1/turbines", json={"team_id": None, "name": "Two"}))
        two = created(world.lead.post("/v1/builds", json=build_payload(rotor["id"])))["id"]
        runs = [*self.worked(world), self.run(6, two, 1.0), self.run(7, two, 1.0)]
        body = self.send(world, *runs).json()
        assert body["drifts"][0]["drift_pct"] == pytest.approx(0.0, abs=1e-9)

    def test_a_reference_run_that_gave_nothing_tells_nothing(self, world: World):
        body = self.send(world, *self.worked(world, last=0.0)).json()
        assert (body["drifts"][0]["drift_pct"], body["drifts"][0]["reference_runs"]) == (None, 1)
        assert body["places"][0]["best_w"] == pytest.approx(1.25**2 / 30.1)

    def test_as_many_runs_count_as_the_event_says(self, world: World):
        """Best of one: the first, 1.20 V, though the second gave more."""
        body = self.send(world, *self.worked(world)).json()
        assert (body["best_of"], body["places"][0]["runs"]) == (1, 1)
        assert body["places"][0]["best_w"] == pytest.approx(1.2**2 / 30.1)
        assert patch(world.lead, event(world), best_of=2).status_code == 200
        (first,) = world.lead.get(f"{event(world)}/results").json()["places"]
        assert first["best_w"] == pytest.approx(1.25**2 / 30.1)

    def test_another_event_of_the_day_has_its_own_runs(self, world: World):
        self.send(world, *self.worked(world))
        juniors = {"season_id": world.season_id, "name": "Juniors", "held_on": "2026-05-16"}
        other = created(world.lead.post("/v1/events", json=juniors))["id"]
        assert world.lead.get(f"/v1/events/{other}/results").json()["runs"] == []

    def test_a_school_learns_nothing_of_another_ones_powers(self, world: World):
        self.send(world, *self.worked(world))
        body = world.birch.coach.get(f"{event(world)}/results").json()
        assert body["places"][0]["best_w"] is None
        hidden = [run for run in body["runs"] if run["team_name"] == "another team"]
        assert len(hidden) == 2
        assert {run["power_w"] for run in hidden} == {None}
        assert "Larch" not in str(body)

    def test_one_reference_run_tells_no_drift(self, world: World):
        body = self.send(world, *self.worked(world)[:4]).json()
        assert body["drifts"][0]["drift_pct"] is None
        assert body["places"][0]["best_w"] == pytest.approx(1.25**2 / 30.1)

    @pytest.mark.parametrize(
        ("changed", "status", "words"),
        [
            ({"outcome": "did_not_finish"}, 422, "outcome ok has a trial"),
            ({"trial": None}, 422, "outcome ok has a trial"),
            ({"position": 0}, 422, "between"),
            ({"position": 2}, 422, "place 2 is given twice"),
        ],
    )
    def test_what_is_no_run(self, changed, status, words, world: World):
        runs = list(self.worked(world))
        runs[0] = runs[0] | changed
        refused = self.send(world, *runs)
        assert (refused.status_code, words in refused.text) == (status, True)

    def test_a_place_that_is_taken_and_another_day(self, world: World):
        session = self.day(world)
        assert self.send(world, *self.worked(world), session=session).status_code == 200
        taken = self.run(2, world.birch.build_id, 1.2)
        assert self.send(world, taken, session=session).status_code == 409
        other_day = self.send(world, taken, session=world.larch.session_id)
        assert "not of 2026-05-16" in other_day.json()["detail"]

    def test_a_fault_names_its_run_and_nothing_is_stored(self, world: World):
        runs = list(self.worked(world))
        runs[1]["trial"] = runs[1]["trial"] | {"load_connected": False}
        refused = self.send(world, *runs)
        assert refused.status_code == 422
        assert refused.json()["errors"][0]["pointer"].startswith("/runs/1")
        assert world.lead.get(f"{event(world)}/results").json()["runs"] == []

    def test_only_a_lead_records_them(self, world: World):
        session = self.day(world)
        refused = self.send(world, *self.worked(world), session=session, client=world.larch.coach)
        assert refused.status_code == 403
