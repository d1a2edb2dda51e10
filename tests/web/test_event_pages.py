"""The pages of the event's day: ticks that are stored, the draw, and official runs."""

import pytest

from tests.support.makers import created, session_payload


@pytest.fixture
def day(world, visiting):
    """Return a lead's browser, the event's address, and a session of its day."""
    payload = session_payload(world.larch, started_at="2026-05-16T09:00:00Z")
    session = created(world.lead.post("/v1/sessions", json=payload))
    return visiting(world.lead_key), f"/events/{world.larch.event_id}", session["id"]


def slot_of(world, team_id):
    order = world.lead.get(f"/v1/events/{world.larch.event_id}/run-order").json()
    return next(slot["position"] for slot in order["slots"] if slot["team_id"] == team_id)


def run_of(world, session_id, **typed):
    return {
        "session_id": session_id, "build_id": world.larch.build_id, "outcome": "ok",
        "load_ohm": "30,1", "load_connected": "yes", "voltage_1": "1,20", "voltage_2": "1.21",
    } | typed  # fmt: skip


class TestOfficialRuns:
    def test_a_run_of_another_day(self, day, world):
        browser, event, _ = day
        path = f"{event}/runs/{slot_of(world, world.larch.team_id)}"
        page = browser.post(path, data=run_of(world, world.larch.session_id))
        assert page.status_code == 422
        assert "not of 2026-05-16" in page.text

    def test_a_finished_run_without_a_reading(self, day, world):
        browser, event, session = day
        path = f"{event}/runs/{slot_of(world, world.larch.team_id)}"
        typed = run_of(world, session, voltage_1="", voltage_2="")
        page = browser.post(path, data=typed)
        assert page.status_code == 422
        assert "Give at least one reading" in page.text

    def test_a_place_that_the_order_does_not_have(self, day):
        browser, event, _ = day
        assert browser.get(f"{event}/runs/999").status_code == 404

    def test_a_run_is_stored_once_and_stands_in_the_results(self, day, world):
        browser, event, session = day
        position = slot_of(world, world.larch.team_id)
        path = f"{event}/runs/{position}"
        shown = browser.get(path).text
        assert "Larch one" in shown
        assert f'value="{session}" selected' in shown
        assert f'value="{world.larch.build_id}" selected' in shown
        for _ in range(2):
            assert browser.post(path, data=run_of(world, session)).status_code == 303
        (run,) = world.lead.get(f"/v1{event}/results").json()["runs"]
        assert (run["position"], run["outcome"]) == (position, "ok")
        # Geometric mean of 1.20 V and 1.21 V squared, over 30.1 ohm: 0.04824 W, by hand.
        assert run["power_w"] == pytest.approx(1.20 * 1.21 / 30.1, rel=1e-9)
        assert "Stored already: finished" in browser.get(path).text
        assert "stored</span>" in browser.get(event).text

    def test_a_run_that_did_not_finish(self, day, world):
        browser, event, session = day
        path = f"{event}/runs/{slot_of(world, world.larch.team_id)}"
        typed = {"outcome": "did_not_finish", "session_id": session, "protest": "a blade came off",
                 "build_id": world.larch.build_id}  # fmt: skip
        assert browser.post(path, data=typed).status_code == 303
        (run,) = world.lead.get(f"/v1{event}/results").json()["runs"]
        assert run["outcome"] == "did_not_finish"


class TestInspection:
    def address(self, world):
        return f"/events/{world.larch.event_id}/builds/{world.larch.build_id}"

    def test_nothing_ticked(self, world, visiting):
        typed = {"build_version": "1", "inspector": "steward"}
        page = visiting(world.larch.coach_key).post(self.address(world), data=typed)
        assert page.status_code == 422
        assert "Nothing is ticked yet" in page.text

    def test_a_build_that_changed_since_the_page_was_opened(self, world, visiting):
        tag = {"If-Match": '"v1"'}
        path = f"/v1/builds/{world.larch.build_id}"
        assert world.lead.patch(path, json={"note": "sanded"}, headers=tag).status_code == 200
        typed = {"build_version": "1", "inspector": "steward", "outcome_hazards": "pass"}
        page = visiting(world.larch.coach_key).post(self.address(world), data=typed)
        assert page.status_code == 422
        assert "look at it again" in page.text

    def test_a_measure_that_is_no_number_keeps_what_was_ticked(self, world, visiting):
        typed = {"build_version": "1", "inspector": "steward", "outcome_rotor_size": "fail",
                 "measured_rotor_size": "6O,5",
                 "evidence_rotor_size": "wider than the gauge"}  # fmt: skip
        page = visiting(world.larch.coach_key).post(self.address(world), data=typed)
        assert page.status_code == 422
        assert "Was 60,5 meant" in page.text
        assert 'value="fail" checked' in page.text
        assert 'value="wider than the gauge"' in page.text

    def test_a_measure_in_the_rules_unit(self, world, visiting):
        typed = {"build_version": "1", "inspector": "steward", "outcome_rotor_size": "fail",
                 "measured_rotor_size": "60,5"}  # fmt: skip
        browser = visiting(world.larch.coach_key)
        assert browser.post(self.address(world), data=typed).status_code == 303
        path = f"/v1/events/{world.larch.event_id}/inspections"
        (stored,) = world.larch.coach.get(path).json()["items"]
        (finding,) = stored["findings"]
        assert finding["measured"] == pytest.approx(0.605)
        assert "Not ready" in browser.get(self.address(world)).text


def test_a_draw_is_repeated_by_its_seed(world, visiting):
    browser = visiting(world.lead_key)
    event = f"/events/{world.larch.event_id}"
    orders = []
    for seed in ("7", "8", "7"):
        assert browser.post(f"{event}/draw", data={"seed": seed}).status_code == 303
        orders.append(world.lead.get(f"/v1{event}/run-order").json()["slots"])
    assert orders[0] == orders[2]
    wrong = browser.post(f"{event}/draw", data={"seed": "-1"})
    assert wrong.status_code == 422


class TestTheBoard:
    def test_another_event_is_not_there(self, day):
        browser, _, _ = day
        assert browser.get("/events/evt_nobody/board").status_code == 404

    def test_it_shows_who_runs_and_who_is_next(self, day, world):
        browser, event, _ = day
        slots = world.lead.get(f"/v1{event}/run-order").json()["slots"]
        page = browser.get(f"{event}/board").text
        assert f'<p class="now">{slots[0]["words"]}</p>' in page
        assert [f"<li>{slot['words']}</li>" in page for slot in slots[1:4]] == [True] * 3
        assert "No run has been stored yet." in page

    def test_a_stored_run_is_a_result_with_its_interval_and_the_next_one_runs(self, day, world):
        browser, event, session = day
        position = slot_of(world, world.larch.team_id)
        browser.post(f"{event}/runs/{position}", data=run_of(world, session))
        page = browser.get(f"{event}/board").text
        (placed,) = world.lead.get(f"/v1{event}/results").json()["places"]
        low, high = placed["interval_w"]
        assert low < placed["best_w"] < high
        assert placed["places"] == [1, 1]
        assert "48.2 mW" in page or "48 mW" in page

    def test_teams_whose_intervals_overlap_share_a_range_of_places(self, day, world):
        browser, event, session = day
        for school, volts in ((world.larch, "1,20"), (world.birch, "1,21")):
            path = f"{event}/runs/{slot_of(world, school.team_id)}"
            typed = run_of(world, session, build_id=school.build_id, voltage_1=volts, voltage_2="")
            assert browser.post(path, data=typed).status_code == 303
        places = world.lead.get(f"/v1{event}/results").json()["places"]
        assert [each["places"] for each in places] == [[1, 2], [1, 2]]
        assert "1–2" in browser.get(f"{event}/board").text

    def test_a_team_that_is_not_shared_has_no_figures(self, day, world, visiting):
        browser, event, session = day
        path = f"{event}/runs/{slot_of(world, world.birch.team_id)}"
        browser.post(path, data=run_of(world, session, build_id=world.birch.build_id))
        page = visiting(world.larch.coach_key).get(f"{event}/board").text
        assert "Birch" not in page
        assert " mW (" not in page


class TestWhatAnEventOpensWith:
    def test_before_it_the_teams_that_are_ready(self, day, world):
        browser, event, _ = day
        page = browser.get(event).text
        assert "of 2 teams are ready." in page
        assert page.index("Who is ready") < page.index("Order of runs")

    def test_once_runs_are_stored_the_results(self, day, world):
        """1.20 V and 1.21 V across 30.1 ohm: their geometric mean is 48.24 mW, by hand."""
        browser, event, session = day
        path = f"{event}/runs/{slot_of(world, world.larch.team_id)}"
        assert browser.post(path, data=run_of(world, session)).status_code == 303
        page = browser.get(event).text
        assert "Larch one (Larch school) leads with 48.2 mW. 1 team has a result." in page
        assert page.index("<h2>Results") < page.index("<h2>Who is ready")
