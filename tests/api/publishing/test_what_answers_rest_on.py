"""A confirmation is valid for the values seen; a change of a check's inputs reopens it."""

from tests.support.flags import again, answer, counted, flag_of, new_session, run
from tests.support.makers import World, build_payload, created, session_payload, trial_payload

LATER = "2026-03-12T14:30:00Z"


def confirm(client, flag):
    body = answer(client, flag, answer="confirm", reason="looked at it again")
    assert body.status_code == 200, body.text


def correct(client, trial, **changes):
    asked = {"reason": "misread", "changes": changes}
    return created(client.post(f"/v1/trials/{trial['id']}/corrections", json=asked))


def patch(client, path, **changes):
    tag = client.get(path).headers["ETag"]
    done = client.patch(path, json=changes, headers={"If-Match": tag})
    assert done.status_code == 200, done.text
    return done.json()


def flags_of(client, **asked):
    return client.get("/v1/flags", params=asked | {"limit": 200}).json()["items"]


class TestConfirmed:
    def test_another_value_is_asked_about_again(self, world: World):
        trial = run(world.larch, wind_speed_m_s=9.4)
        confirm(world.larch.coach, flag_of(trial, "wind_unit_slip"))
        trial = correct(world.larch.coach, trial, wind_speed_m_s=15.0)
        flag = flag_of(trial, "wind_unit_slip")
        assert (trial["state"], flag["state"]) == ("held", "open")
        assert (flag["reason"], flag["answered_by"], flag["answered_at"]) == (None, None, None)

    def test_another_fact_leaves_it_answered(self, world: World):
        trial = run(world.larch, (1.2, 0.9))
        confirm(world.larch.coach, flag_of(trial, "runs_disagree"))
        trial = correct(world.larch.coach, trial, pitch_deg=14.0)
        flag = flag_of(trial, "runs_disagree")
        assert (trial["state"], flag["state"]) == ("accepted", "confirmed")
        assert flag["reason"] == "looked at it again"

    def test_a_session_whose_wind_drifted_further(self, world: World):
        session = new_session(world.larch, started_at=LATER, wind_speed_end_m_s=4.6)
        trial = run(world.larch, session_id=session["id"])
        confirm(world.larch.coach, flag_of(trial, "wind_drifted"))
        assert again(world.larch, trial)["state"] == "accepted"
        patch(world.larch.coach, f"/v1/sessions/{session['id']}", wind_speed_end_m_s=5.4)
        trial = again(world.larch, trial)
        assert (trial["state"], flag_of(trial, "wind_drifted")["state"]) == ("held", "open")

    def test_a_flag_that_says_more_has_another_tag(self, world: World):
        flag = flag_of(run(world.larch, (1.2, 0.9)), "runs_disagree")
        path = f"/v1/flags/{flag['id']}"
        before = world.larch.coach.get(path).headers["ETag"]
        correct(world.larch.coach, {"id": flag["trial_id"]}, runs=[{"voltage_v": 1.2},
                {"voltage_v": 0.8}])  # fmt: skip
        assert world.larch.coach.get(path).headers["ETag"] != before


class TestSweeps:
    def sweep(self, world):
        rows = [(0.95, 3.3), (1.2, 4.0), (1.5, 4.8)]
        return [
            run(world.larch, (volts, volts + 0.01), kind="wind", wind_speed_m_s=speed)
            for volts, speed in rows
        ]

    def source(self, world):
        return again(world.larch, {"id": world.larch.trial_id})["result"]["wind_exponent_source"]

    def test_a_held_wind_trial_leaves_the_exponent_at_once(self, world: World):
        *_, last = self.sweep(world)
        assert self.source(world) == "own"
        held = correct(world.larch.coach, last, runs=[{"voltage_v": 1.5}, {"voltage_v": 1.1}])
        assert held["state"] == "held"
        assert self.source(world) == "default"
        confirm(world.larch.coach, flag_of(held, "runs_disagree"))
        assert self.source(world) == "own"

    def test_what_is_stored_is_what_a_rebuild_finds(self, world: World, app_client):
        from api.services.measurements import rechecks

        *_, last = self.sweep(world)
        correct(world.larch.coach, last, runs=[{"voltage_v": 1.5}, {"voltage_v": 1.1}])
        paths = ("/v1/trials?limit=200", "/v1/flags?limit=200", "/v1/flags?state=cleared")
        before = [world.lead.get(path).json() for path in paths]
        with app_client.app.state.database.unit_of_work() as db:
            rechecks.recheck_season(db, world.season_id)
        assert [world.lead.get(path).json() for path in paths] == before


class TestFollowing:
    def test_a_new_build_beside_it(self, world: World):
        """A trial set like the build that is registered only afterwards."""
        patch(world.larch.coach, f"/v1/builds/{world.larch.build_id}", pitch_deg=10, load_ohm=22)
        trial = run(world.larch, pitch_deg=14.0)
        assert "wrong_build" not in {flag["rule"] for flag in trial["flags"]}
        second_build = build_payload(world.larch.turbine_id, pitch_deg=14.0, load_ohm=30.1)
        second = created(world.larch.coach.post("/v1/builds", json=second_build))
        flag_of(again(world.larch, trial), "wrong_build")
        patch(world.larch.coach, f"/v1/builds/{second['id']}", pitch_deg=20.0)
        rules = {flag["rule"] for flag in again(world.larch, trial)["flags"]}
        assert "wrong_build" not in rules

    def test_a_team_renamed_and_a_note_rewritten(self, world: World):
        team, trial = f"/v1/teams/{world.larch.team_id}", f"/v1/trials/{world.larch.trial_id}"
        for path, field, words in ((team, "name", "Anna Berg"), (trial, "note", "ask Anna Berg")):
            patch(world.larch.coach, path, **{field: words})
            assert flags_of(world.larch.coach, rule="personal_data"), path
            patch(world.larch.coach, path, **{field: "Kites"})
            assert not flags_of(world.larch.coach, rule="personal_data"), path

    def test_the_height_of_the_school_whose_room_it_was(self, world: World):
        """950 hPa at 540 m is usual; at 1,500 m, where 846 is, it is not."""
        visit = trial_payload(world.larch, session_id=world.birch.session_id, kind="visit")
        created(world.lead.post("/v1/trials", json=visit))
        patch(world.lead, f"/v1/organisations/{world.birch.organisation_id}", altitude_m=1500)
        open_flags = flags_of(world.lead, session_id=world.birch.session_id, rule="pressure_odd")
        assert len(open_flags) == 1

    def test_the_first_of_two_alike_put_right_frees_the_second(self, world: World):
        first, second = run(world.larch), run(world.larch)
        assert (flag_of(second, "duplicate")["state"], second["state"]) == ("open", "held")
        correct(world.larch.coach, first, pitch_deg=14.0)
        assert again(world.larch, second)["state"] == "accepted"


class TestVisits:
    def visit(self, world):
        asked = trial_payload(
            world.larch, session_id=world.birch.session_id, kind="visit", client_ref="away"
        )
        return created(world.lead.post("/v1/trials", json=asked))

    def test_its_own_coach_puts_it_right(self, world: World):
        trial = correct(world.larch.coach, self.visit(world), pitch_deg=14.0)
        assert trial["pitch_deg"] == 14.0

    def test_no_new_trial_slips_into_the_other_schools_session(self, world: World):
        self.visit(world)
        again_and_new = [
            trial_payload(world.larch, session_id=world.birch.session_id, kind="visit",
                          client_ref=ref) for ref in ("away", "new")
        ]  # fmt: skip
        sent = world.larch.coach.post(
            "/v1/imports", params={"mode": "partial"}, json={"trials": again_and_new}
        )
        assert created(sent)["trials"] == {"created": 0, "unchanged": 1, "error": 1}

    def test_the_coachs_own_file_with_it_changes_nothing(self, world: World):
        self.visit(world)
        path = f"/v1/seasons/{world.season_id}/trials.csv"
        text = world.larch.coach.get(path).text
        assert "Birch school" in text
        sent = world.larch.coach.post(
            "/v1/imports", content=text.encode(), headers={"Content-Type": "text/csv"}
        )
        assert created(sent)["trials"] == {"created": 0, "unchanged": 2, "error": 0}


class TestKnownBySubmission:
    def test_put_to_another_build_it_is_not_stored_again(self, world: World):
        asked = trial_payload(world.larch, client_ref="first")
        other = created(
            world.larch.coach.post("/v1/builds", json=build_payload(world.larch.turbine_id))
        )
        correct(world.larch.coach, {"id": world.larch.trial_id}, build_id=other["id"])
        sent = world.larch.coach.post("/v1/trials", json=asked)
        assert (sent.status_code, sent.json()["id"]) == (200, world.larch.trial_id)

    def test_a_withdrawn_one_says_how_it_can_count_after_all(self, world: World):
        path = f"/v1/trials/{world.larch.trial_id}/withdraw"
        assert world.larch.coach.post(path, json={"reason": "wrong fan"}).status_code == 200
        refused = world.larch.coach.post(path, json={"reason": "wrong fan"})
        assert "another client_ref" in refused.json()["detail"]
        asked = trial_payload(world.larch, client_ref="first again")
        assert world.larch.coach.post("/v1/trials", json=asked).status_code == 201


def test_a_doubted_session_cannot_slip_past_a_refusal(world: World):
    """Its flag is shown with the first trial of the session, here one that is stored already."""
    session = session_payload(world.larch, started_at=LATER, wind_speed_end_m_s=4.6)
    session_id = created(world.larch.coach.post("/v1/sessions", json=session))["id"]
    stored = trial_payload(world.larch, session_id=session_id, client_ref="one")
    created(world.larch.coach.post("/v1/trials", json=stored))
    new = trial_payload(world.larch, session_id=session_id, client_ref="two", pitch_deg=9.0)
    before = counted(world)
    refused = world.larch.coach.post(
        "/v1/imports", params={"warnings": "refuse"}, json={"trials": [stored, new]}
    )
    assert refused.status_code == 422
    assert {error["code"] for error in refused.json()["errors"]} >= {"wind_drifted"}
    assert counted(world) == before
