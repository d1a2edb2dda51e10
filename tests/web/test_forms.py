"""Forms accept comma or point and the units of a school, and show errors next to the field."""

import re

import pytest

from api.errors import FieldError, Invalid
from api.web import forms
from api.web.forms import Field, Filled
from api.web.registration.fields import BENCH, BUILD
from tests.support.makers import created, session_payload, trial_payload

KEY = "x" * 20


def trial_form(school, **typed):
    return {
        "session_id": school.session_id,
        "build_id": school.build_id,
        "kind": "record",
        "load_ohm": "30,1",
        "load_connected": "yes",
        "voltage_1": "1,20",
    } | typed


def fault_at(page, name):
    """Return the text next to a field, as a person reads it."""
    body = re.search(rf'<p class="fault" id="e-{name}">([^<]*)</p>', page)
    return body[1] if body else None


class TestRefused:
    @pytest.mark.parametrize(
        ("typed", "says"),
        [
            ("1,2O", "1,2O is not a number. Was 1,20 meant (a letter was typed for a digit)?"),
            ("1.000,5", "Write numbers without a sign between thousands."),
            ("OL", "the meter was over its range"),
            ("1,2 m/s", "the unit m/s, which this field does not know"),
            ("１.５", "is not a number"),
            ("1e3", "is not a number"),
            ("nan", "is not a number"),
            (
                "99",
                "Must be between -60 and 60 V. Perhaps another unit was meant: 99 mV = 0.099 V.",
            ),
        ],
    )
    def test_a_reading_that_is_none(self, typed, says, world, visiting):
        browser = visiting(world.larch.coach_key)
        page = browser.post("/trials/new", data=trial_form(world.larch, voltage_2=typed))
        assert page.status_code == 422
        assert says.lower() in fault_at(page.text, "voltage_2").lower()
        assert fault_at(page.text, "voltage_1") is None
        assert 'value="1,20"' in page.text

    def test_a_load_that_was_not_connected(self, world, visiting):
        typed = trial_form(world.larch)
        del typed["load_connected"]
        page = visiting(world.larch.coach_key).post("/trials/new", data=typed)
        assert page.status_code == 422
        assert "Was the resistor connected?" in page.text

    def test_a_change_of_what_somebody_else_changed_meanwhile(self, world, visiting):
        path = f"/teams/{world.larch.team_id}/edit"
        first, second = visiting(world.larch.coach_key), visiting(world.larch.coach_key)
        assert first.post(path, data={"version": "1", "name": "Ours"}).status_code == 303
        page = second.post(path, data={"version": "1", "name": "Theirs"})
        assert page.status_code == 422
        assert "your change is based on 1" in page.text
        assert 'value="Theirs"' in page.text

    def test_a_needed_field_that_is_cleared(self, world, visiting):
        path = f"/builds/{world.larch.build_id}/edit"
        typed = {"version": "1", "rotor_diameter_cm": "", "blade_count": "3"}
        page = visiting(world.larch.coach_key).post(path, data=typed)
        assert fault_at(page.text, "rotor_diameter_cm") == "This is needed."

    def test_a_name_that_is_taken_stands_beside_the_new_fan(self, world, visiting):
        typed = {
            "organisation_id": world.larch.organisation_id, "name": "Gym", "fan_setting": "1",
            "new_fan_tag": "Larch-fan", "distance_cm": "90",
            "anemometer_id": world.larch.anemometer_id,
        }  # fmt: skip
        page = visiting(world.larch.coach_key).post("/benches/new", data=typed)
        assert page.status_code == 422
        assert 'value="Larch-fan"' in page.text
        fans = world.larch.coach.get("/v1/equipment", params={"kind": "fan"}).json()["items"]
        assert len(fans) == 1

    @pytest.mark.parametrize("rules", ["{no", "[" * 100_000, "example of mine"])
    def test_rules_that_are_not_json(self, rules, world, visiting):
        typed = {"season_id": world.season_id, "name": "M", "held_on": "2026-05-01"}
        page = visiting(world.lead_key).post("/events/new", data=typed | {"rule_set": rules})
        assert "This is not JSON" in fault_at(page.text, "rule_set")

    @pytest.mark.parametrize("rules", ["[]", '{"checks": []}', '{"name": NaN}', "3"])
    def test_rules_that_are_no_rules(self, rules, world, visiting):
        typed = {"season_id": world.season_id, "name": "M", "held_on": "2026-05-01"}
        page = visiting(world.lead_key).post("/events/new", data=typed | {"rule_set": rules})
        assert page.status_code == 422
        assert 'role="alert"' in page.text


class TestTaken:
    def test_units_of_a_school_are_stored_in_si_beside_what_was_typed(self, world, visiting):
        typed = {
            "turbine_id": world.larch.turbine_id, "changed_factor": "blade count",
            "rotor_diameter_cm": "45,5", "blade_count": "4", "blade_mass_g": "12,5",
            "chord_root_mm": "40", "blade_balance_radius_cm": "11",
        }  # fmt: skip
        answer = visiting(world.larch.coach_key).post("/builds/new", data=typed)
        build_id = answer.headers["location"].rpartition("/")[2]
        build = world.larch.coach.get(f"/v1/builds/{build_id}").json()
        assert build["rotor_diameter_m"] == 0.455
        assert build["blade_mass_kg"] == 0.0125
        assert build["chord_root_m"] == 0.04
        assert build["as_typed"]["rotor_diameter_m"] == {
            "value": 45.5, "unit": "cm", "field": "rotor_diameter_cm",
        }  # fmt: skip
        assert build["parent_build_id"] == world.larch.build_id
        assert build["number"] == 2

    def test_what_is_shown_again_is_what_was_typed(self):
        class Build:
            rotor_diameter_m, blade_mass_kg, chord_root_m = 0.455, 0.0125, 0.0403

        shown = forms.shown(BUILD, Build)
        assert shown["rotor_diameter_cm"] == "45.5"
        assert shown["blade_mass_g"] == "12.5"
        assert shown["chord_root_mm"] == "40.3"

    def test_a_form_sent_back_unchanged_changes_nothing(self):
        class Bench:
            name, fan_setting, distance_m, hub_height_m = "Hall", "2", 0.9, 0.333

        stood = forms.shown(BENCH, Bench)
        assert forms.moved(BENCH, Bench, stood) == []
        assert [each.name for each in forms.moved(BENCH, Bench, stood | {"name": "Gym"})] == [
            "name"
        ]

    def test_a_clock_is_the_schools(self, world, visiting):
        school = world.larch
        tag = {"If-Match": '"v1"'}
        path = f"/v1/organisations/{school.organisation_id}"
        zone = {"timezone": "Europe/Dublin"}
        assert world.lead.patch(path, json=zone, headers=tag).status_code == 200
        typed = {
            "bench_id": school.bench_id, "season_id": school.season_id, "adult_present": "yes",
            "started_at": "2026-04-20T14:15",
        }  # fmt: skip
        answer = visiting(school.coach_key).post("/sessions/new", data=typed)
        session_id = re.search("session_id=(ses_[0-9A-Z]+)", answer.headers["location"])[1]
        session = school.coach.get(f"/v1/sessions/{session_id}").json()
        assert session["started_at"] == "2026-04-20T13:15:00Z"

    @pytest.mark.parametrize(
        ("started_at", "says"),
        [("2026-03-29T01:30", "clock"), ("2026-10-25T01:30", "twice"), ("soon", "")],
    )
    def test_an_hour_that_the_clock_skips_or_has_twice(self, started_at, says, world, visiting):
        school = world.larch
        zone, tag = {"timezone": "Europe/Dublin"}, {"If-Match": '"v1"'}
        world.lead.patch(f"/v1/organisations/{school.organisation_id}", json=zone, headers=tag)
        typed = {
            "bench_id": school.bench_id, "season_id": school.season_id, "adult_present": "yes",
            "started_at": started_at,
        }  # fmt: skip
        page = visiting(school.coach_key).post("/sessions/new", data=typed)
        assert page.status_code == 422
        assert says in fault_at(page.text, "started_at")

    def test_a_trial_without_a_load_is_open_circuit(self, world, visiting):
        typed = trial_form(world.larch, kind="open_circuit")
        del typed["load_ohm"], typed["load_connected"]
        browser = visiting(world.larch.coach_key)
        answer = browser.post("/trials/new", data=typed)
        assert answer.status_code == 303
        page = browser.get(answer.headers["location"]).text
        assert "No load: speed only" in page
        assert "It cannot be put" not in page


class TestOnce:
    def test_the_same_form_twice_is_one_trial_and_another_content_another(self, world, visiting):
        browser = visiting(world.larch.coach_key)
        typed = trial_form(world.larch, form_key=KEY)
        first = browser.post("/trials/new", data=typed)
        again = browser.post("/trials/new", data=typed | {"voltage_2": "", "note": "typed first"})
        other = browser.post("/trials/new", data=typed | {"voltage_2": "1,3"})
        assert first.headers["location"] == again.headers["location"]
        assert other.headers["location"] != first.headers["location"]

    def test_another_persons_form_of_the_same_key_is_another(self, world, visiting):
        places = set()
        for school in (world.larch, world.birch):
            typed = trial_form(school, form_key=KEY)
            answer = visiting(school.coach_key).post("/trials/new", data=typed)
            places.add(answer.headers["location"])
        assert len(places) == 2

    def test_what_was_refused_is_not_kept(self, world, visiting):
        browser = visiting(world.larch.coach_key)
        typed = trial_form(world.larch, form_key=KEY)
        wrong = {"version": "7", "name": "New", "form_key": KEY}
        path = f"/teams/{world.larch.team_id}/edit"
        assert browser.post(path, data=wrong).status_code == 422
        assert browser.post(path, data=wrong | {"version": "1"}).status_code == 303
        assert browser.post("/trials/new", data=typed).status_code == 303


class TestRemembered:
    def test_the_next_form_begins_from_the_last_trial_in_each_browser_of_the_key(
        self, world, visiting
    ):
        browser = visiting(world.larch.coach_key)
        browser.post("/trials/new", data=trial_form(world.larch, pitch_deg="12,5"))
        page = browser.get("/trials/new").text
        assert f'value="{world.larch.session_id}" selected' in page
        assert f'value="{world.larch.build_id}" selected' in page
        assert 'value="12.5"' in visiting(world.larch.coach_key).get("/trials/new").text
        assert 'value="12.5"' not in visiting(world.larch.reader_key).get("/trials/new").text

    def test_another_school_sees_nothing_of_it(self, world, visiting):
        browser = visiting(world.larch.coach_key)
        browser.post("/trials/new", data=trial_form(world.larch, pitch_deg="12,5"))
        assert 'value="12.5"' in browser.get("/trials/new").text
        assert 'value="12.5"' not in visiting(world.birch.coach_key).get("/trials/new").text


class TestCorrection:
    @pytest.fixture
    def trial(self, world):
        return created(
            world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, client_ref="c"))
        )

    def typed(self, world, **changed):
        volts = dict.fromkeys(("voltage_1", "voltage_2", "voltage_3"), "1.2")
        return trial_form(world.larch, load_ohm="30.1", meter_range_v="2", **volts) | changed

    def test_nothing_moved(self, trial, world, visiting):
        path = f"/trials/{trial['id']}/correct"
        typed = self.typed(world, reason="why")
        page = visiting(world.larch.coach_key).post(path, data=typed)
        assert "Nothing was changed" in page.text

    def test_only_what_moved_is_written(self, trial, world, visiting):
        path = f"/trials/{trial['id']}/correct"
        typed = self.typed(world, reason="misread", load_ohm="31,5")
        assert visiting(world.larch.coach_key).post(path, data=typed).status_code == 303
        entries = world.larch.coach.get(f"/v1/trials/{trial['id']}/history").json()["items"]
        assert entries[-1]["changes"] == {"load_ohm": [30.1, 31.5]}

    def test_a_logged_run_is_corrected_like_any_other(self, world, visiting):
        logged = {"series_voltage_v": [1.2, 1.21, 1.19], "sample_rate_hz": 2.0}
        payload = trial_payload(world.larch, client_ref="s", runs=[logged])
        trial = created(world.larch.coach.post("/v1/trials", json=payload))
        browser, path = visiting(world.larch.coach_key), f"/trials/{trial['id']}/correct"
        assert "1.2; 1.21; 1.19" in browser.get(path).text
        typed = self.typed(world, reason="why", voltage_1="", voltage_2="", voltage_3="")
        changed = typed | {"run_1_series_voltage_v": "1.2; 1.25; 1.19"}
        assert browser.post(path, data=changed).status_code == 303
        (run,) = world.larch.coach.get(f"/v1/trials/{trial['id']}").json()["runs"]
        assert run["series_voltage_v"] == [1.2, 1.25, 1.19]

    def test_the_wind_and_turns_of_one_run(self, world, visiting):
        runs = [
            {"voltage_v": volts, "wind_speed_m_s": wind, "rotor_speed_rpm": 400.0}
            for volts, wind in ((1.2, 3.63), (1.21, 8.12))
        ]
        payload = trial_payload(world.larch, client_ref="w", runs=runs)
        trial = created(world.larch.coach.post("/v1/trials", json=payload))
        browser, path = visiting(world.larch.coach_key), f"/trials/{trial['id']}/correct"
        page = browser.get(path).text
        assert 'name="run_2_wind_speed_m_s" value="8.12"' in page.replace(
            'aria-describedby="h-run_2_wind_speed_m_s" ', ""
        )
        typed = self.typed(world, reason="mph", run_2_wind_speed_m_s="3,63")
        typed |= {"voltage_1": "1.2", "voltage_2": "1.21", "voltage_3": ""}
        assert browser.post(path, data=typed).status_code == 303
        stored = world.larch.coach.get(f"/v1/trials/{trial['id']}").json()["runs"]
        assert [run["wind_speed_m_s"] for run in stored] == [3.63, 3.63]
        assert [run["rotor_speed_rpm"] for run in stored] == [400.0, 400.0]

    def test_a_stored_number_with_three_decimals_is_not_asked_about(self, world, visiting):
        logged = {"series_voltage_v": [1.203, 1.214, 1.195], "sample_rate_hz": 1.333}
        payload = trial_payload(world.larch, client_ref="d", runs=[logged], load_ohm=22.105)
        trial = created(world.larch.coach.post("/v1/trials", json=payload))
        browser, path = visiting(world.larch.coach_key), f"/trials/{trial['id']}/correct"
        assert 'value="22.1050"' in browser.get(path).text
        typed = self.typed(world, reason="why", load_ohm="22.1050", pitch_deg="13")
        typed |= {"voltage_1": "", "voltage_2": "", "voltage_3": ""}
        typed |= {"run_1_series_voltage_v": "1.203; 1.214; 1.195", "run_1_sample_rate_hz": "1.3330"}
        assert browser.post(path, data=typed).status_code == 303
        entries = world.larch.coach.get(f"/v1/trials/{trial['id']}/history").json()["items"]
        assert list(entries[-1]["changes"]) == ["pitch_deg"]

    def test_a_trial_moves_to_another_session_of_its_season(self, trial, world, visiting):
        other = session_payload(world.larch, started_at="2026-04-02T10:00:00Z")
        session = created(world.larch.coach.post("/v1/sessions", json=other))
        path = f"/trials/{trial['id']}/correct"
        typed = self.typed(world, reason="the other day", session_id=session["id"])
        assert visiting(world.larch.coach_key).post(path, data=typed).status_code == 303
        stored = world.larch.coach.get(f"/v1/trials/{trial['id']}").json()
        assert stored["session_id"] == session["id"]


def test_a_fault_of_no_field_stands_above_the_form():
    filled = Filled([Field("name", "text")])
    filled.blame(Invalid("odd", [FieldError("odd", "is odd", pointer="/elsewhere")]))
    assert filled.other == ["elsewhere: Is odd."]


def test_a_session_is_changed_without_its_time(world, visiting):
    payload = session_payload(world.larch, started_at="2026-04-01T10:00:00Z")
    session = created(world.larch.coach.post("/v1/sessions", json=payload))
    page = visiting(world.larch.coach_key).get(f"/sessions/{session['id']}/edit").text
    assert "started_at" not in page
    assert 'name="air_temperature_c"' in page
