"""Flags over the API: their effect, the effect of answers, and who may answer."""

import pytest

from tests.support.flags import again, answer, counted, flag_of, new_session, run
from tests.support.makers import World, created, trial_payload


class TestRefused:
    def test_another_school_sees_and_answers_nothing(self, world: World):
        trial = run(world.larch, wind_speed_m_s=9.4)
        flag = flag_of(trial, "wind_unit_slip")
        assert answer(world.birch.coach, flag, answer="accept_fix").status_code == 404
        assert flag["id"] not in world.birch.coach.get("/v1/flags").text

    def test_a_reader_answers_nothing(self, world: World):
        flag = flag_of(run(world.larch, wind_speed_m_s=9.4), "wind_unit_slip")
        assert answer(world.larch.reader, flag, answer="accept_fix").status_code == 403

    def test_a_confirmation_needs_a_reason(self, world: World):
        flag = flag_of(run(world.larch, wind_speed_m_s=9.4), "wind_unit_slip")
        refused = answer(world.larch.coach, flag, answer="confirm")
        assert refused.status_code == 422
        assert "needs a reason" in refused.text
        assert refused.json()["errors"][0]["pointer"] == "/reason"

    def test_nothing_can_be_accepted_that_was_not_proposed(self, world: World):
        flag = flag_of(run(world.larch, (1.2, 0.9)), "runs_disagree")
        refused = answer(world.larch.coach, flag, answer="accept_fix")
        assert refused.status_code == 409
        assert "no value is suggested" in refused.json()["detail"]

    def test_one_answer_is_enough(self, world: World):
        flag = flag_of(run(world.larch, (1.2, 0.9)), "runs_disagree")
        assert answer(world.larch.coach, flag, answer="confirm", reason="gust").status_code == 200
        assert answer(world.larch.coach, flag, answer="confirm", reason="gust").status_code == 409


class TestAnswers:
    @pytest.mark.on_both
    def test_a_proposed_value_is_written_and_the_trial_counts(self, world: World):
        before = counted(world)
        trial = run(world.larch, wind_speed_m_s=9.4)
        assert trial["state"] == "held"
        assert trial["wind_speed_m_s"] == 9.4  # nothing is changed by itself
        assert counted(world) == before
        body = answer(world.larch.coach, flag_of(trial, "wind_unit_slip"), answer="accept_fix")
        assert (body.status_code, body.json()["state"]) == (200, "corrected")
        trial = again(world.larch, trial)
        assert trial["state"] == "accepted"
        assert trial["wind_speed_m_s"] == pytest.approx(9.4 / 2.2369, abs=1e-4)
        assert counted(world) == before + 1

    def test_millivolts_of_all_runs(self, world: World):
        trial = run(world.larch, (23.0, 23.1, 22.9), meter_range_v=200.0)
        body = answer(world.larch.coach, flag_of(trial, "millivolt_slip"), answer="accept_fix")
        assert body.status_code == 200, body.text
        volts = [run["voltage_v"] for run in again(world.larch, trial)["runs"]]
        assert volts == pytest.approx([0.023, 0.0231, 0.0229])

    def test_a_sessions_wind(self, world: World):
        session = new_session(world.larch, started_at="2026-03-12T14:30:00Z",
                              wind_speed_start_m_s=9.4)  # fmt: skip
        trial = run(world.larch, session_id=session["id"])
        body = answer(world.larch.coach, flag_of(trial, "wind_unit_slip"), answer="accept_fix")
        assert body.status_code == 200, body.text
        stored = world.larch.coach.get(f"/v1/sessions/{session['id']}").json()
        assert stored["wind_speed_start_m_s"] == pytest.approx(4.2022, abs=1e-3)
        assert again(world.larch, trial)["state"] == "accepted"

    def test_confirmed_with_a_reason_it_counts_as_it_is(self, world: World):
        before = counted(world)
        trial = run(world.larch, (1.2, 0.9))
        body = answer(world.larch.coach, flag_of(trial, "runs_disagree"), answer="confirm",
                      reason="two blades were reset between the runs")  # fmt: skip
        assert body.json()["answered_by"] == "Larch coach"
        trial = again(world.larch, trial)
        assert (trial["state"], counted(world)) == ("accepted", before + 1)
        assert flag_of(trial, "runs_disagree")["state"] == "confirmed"

    def test_withdrawn_it_stays_readable_and_does_not_count(self, world: World):
        before = counted(world)
        trial = run(world.larch, (1.2, 0.9))
        answer(world.larch.coach, flag_of(trial, "runs_disagree"), answer="withdraw_trial",
               reason="a blade was loose")  # fmt: skip
        assert again(world.larch, trial)["state"] == "withdrawn"
        assert counted(world) == before
        listed = world.larch.coach.get("/v1/trials").json()["items"]
        assert trial["id"] in [each["id"] for each in listed]

    def test_an_answer_moves_reports_at_once(self, world: World):
        trial = run(world.larch, (1.5, 1.2))
        path = f"/v1/teams/{world.larch.team_id}/progress"
        before = world.larch.coach.get(path).json()["builds"]
        answer(world.larch.coach, flag_of(trial, "runs_disagree"), answer="confirm", reason="gust")
        assert world.larch.coach.get(path).json()["builds"] != before


@pytest.mark.on_both
class TestSessions:
    def test_a_held_session_holds_all_its_trials(self, world: World):
        session = new_session(
            world.larch, started_at="2026-03-12T14:30:00Z", wind_speed_end_m_s=4.6
        )
        one, other = (run(world.larch, volts, session_id=session["id"])
                      for volts in ((1.2, 1.19, 1.21), (1.3, 1.29, 1.31)))  # fmt: skip
        assert {again(world.larch, each)["state"] for each in (one, other)} == {"held"}
        flag = flag_of(one, "wind_drifted")
        assert (flag["trial_id"], flag["session_id"]) == (None, session["id"])
        refused = answer(world.larch.coach, flag, answer="withdraw_trial", reason="x y")
        assert refused.status_code == 409
        answer(world.larch.coach, flag, answer="confirm", reason="the door was opened at the end")
        assert {again(world.larch, each)["state"] for each in (one, other)} == {"accepted"}

    def test_a_corrected_condition_clears_it(self, world: World):
        session = new_session(
            world.larch, started_at="2026-03-12T14:30:00Z", wind_speed_end_m_s=4.6
        )
        trial = run(world.larch, session_id=session["id"])
        patched = world.larch.coach.patch(
            f"/v1/sessions/{session['id']}", json={"wind_speed_end_m_s": 4.21},
            headers={"If-Match": '"v1"'},
        )  # fmt: skip
        assert patched.status_code == 200
        trial = again(world.larch, trial)
        assert trial["state"] == "accepted"
        assert "wind_drifted" not in [flag["rule"] for flag in trial["flags"]]

    def test_a_new_reference_run_scores_the_session_again(self, world: World):
        def reference(session_id, volts):
            return run(world.larch, volts, kind="reference", session_id=session_id,
                       build_id=world.reference_build_id)  # fmt: skip

        for day in (10, 11, 12):
            session = new_session(world.larch, started_at=f"2026-03-{day}T09:00:00Z")
            reference(session["id"], (1.3, 1.31, 1.3))
        late = new_session(world.larch, started_at="2026-03-13T09:00:00Z")
        trial = run(world.larch, session_id=late["id"])
        assert trial["state"] == "accepted"
        reference(late["id"], (1.5, 1.51, 1.5))
        trial = again(world.larch, trial)
        assert trial["state"] == "held"
        assert flag_of(trial, "reference_off")["severity"] == "hold"


@pytest.mark.on_both
class TestLists:
    def test_what_waits_for_an_answer(self, world: World):
        held = run(world.larch, (1.2, 0.9))
        body = world.larch.coach.get("/v1/flags", params={"state": "open", "severity": "hold"})
        assert [flag["trial_id"] for flag in body.json()["items"]] == [held["id"]]
        by_season = world.lead.get(
            "/v1/flags", params={"season_id": world.season_id, "rule": "runs_disagree"}
        )
        assert len(by_season.json()["items"]) == 1

    def test_the_gravest_comes_first(self, world: World):
        trial = run(world.larch, (1.2, 0.9), note="Anna Berg held the tower")
        severities = [
            (flag["rule"] == "personal_data", flag["severity"]) for flag in trial["flags"]
        ]
        assert severities[:2] == [(True, "warn"), (False, "hold")]


class TestDecimals:
    """One power of ten in one reading, and in all: held, and settled by the value that fits."""

    def test_one_reading_among_three(self, world: World):
        trial = run(world.larch, (0.16, 1.66, 1.63))
        flag = flag_of(trial, "runs_disagree")
        assert (trial["state"], flag["severity"]) == ("held", "hold")
        assert "Is a decimal point missing? 1.6 V would fit." in flag["message"]
        assert answer(world.larch.coach, flag, answer="accept_fix").status_code == 200
        stored = again(world.larch, trial)
        assert [each["voltage_v"] for each in stored["runs"]] == [1.6, 1.66, 1.63]
        assert stored["state"] == "accepted"

    def test_millivolts_typed_as_thousandths_of_them(self, world: World):
        """The same build and load gave 1.20 V before: 1.2 mV is a millionth of that power."""
        trial = run(world.larch, (0.0012, 0.00119, 0.00121))
        assert trial["state"] == "held"
        flag = flag_of(trial, "decimal_slip")
        assert answer(world.larch.coach, flag, answer="accept_fix").status_code == 200
        stored = again(world.larch, trial)
        assert [each["voltage_v"] for each in stored["runs"]] == [1.2, 1.19, 1.21]
        assert stored["state"] == "accepted"

    def test_a_wind_noted_with_each_run(self, world: World):
        runs = [{"voltage_v": volts, "wind_speed_m_s": 9.4} for volts in (1.3, 1.29, 1.31)]
        trial = created(
            world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, runs=runs))
        )
        flag = flag_of(trial, "wind_unit_slip")
        assert answer(world.larch.coach, flag, answer="accept_fix").status_code == 200
        winds = [each["wind_speed_m_s"] for each in again(world.larch, trial)["runs"]]
        assert winds == pytest.approx([9.4 * 0.44704] * 3, rel=1e-4)
