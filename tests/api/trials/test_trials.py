"""Trials through the API: refused, stored, computed, checked and listed."""

import math

import pytest

from tests.support.makers import World, build_payload, created, session_payload, trial_payload


def refusal(answer, status=422):
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    return answer.json()


class TestRefused:
    @pytest.mark.parametrize(
        ("changed", "code", "pointer"),
        [
            pytest.param({"load_ohm": None}, "load_not_stated", "/load_ohm", id="no load"),
            pytest.param(
                {"load_connected": None}, "load_not_stated", "/load_connected", id="unsaid"
            ),
            pytest.param(
                {"load_connected": False}, "load_not_stated", "/load_connected", id="open"
            ),
            pytest.param(
                {"runs": [{"voltage_v": 2.0}]},
                "meter_over_range",
                "/runs/0/voltage_v",
                id="over range",
            ),
            pytest.param({"kind": "reference"}, "wrong_kind", "/kind", id="not the reference"),
            pytest.param({"runs": []}, "too_short", "/runs", id="no runs"),
            pytest.param({"runs": [{}]}, "no_reading", "/runs/0", id="an empty run"),
            pytest.param(
                {"runs": [{"voltage_v": 1.2, "voltage_mv": 1200}]}, "twice", "/runs/0", id="twice"
            ),
            pytest.param({"load_ohm": 0}, "out_of_range", "/load_ohm", id="zero load"),
            pytest.param({"pitch": 12}, "unknown_field", "/pitch", id="unknown field"),
            pytest.param({"kind": "recrod"}, "literal_error", "/kind", id="misspelt kind"),
            pytest.param({"build_id": "trl_1"}, "malformed", "/build_id", id="not an id"),
        ],
    )
    def test_and_the_fault_is_named(self, changed, code, pointer, world: World):
        coach = world.larch.coach
        before = len(coach.get("/v1/trials").json()["items"])
        problem = refusal(coach.post("/v1/trials", json=trial_payload(world.larch, **changed)))
        assert problem["errors"][0]["code"] == code
        assert problem["errors"][0]["pointer"] == pointer
        assert len(coach.get("/v1/trials").json()["items"]) == before

    def test_a_unit_is_guessed_in_the_hint(self, world: World):
        runs = [{"voltage_v": 1200}]
        answer = world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, runs=runs))
        assert "1200 mV = 1.2 V" in refusal(answer)["errors"][0]["hint"]

    def test_a_fault_stands_at_the_name_it_was_typed_under(self, world: World):
        asked = trial_payload(world.larch)
        del asked["load_ohm"]
        answer = world.larch.coach.post("/v1/trials", json=asked | {"load_kohm": 1e6})
        assert refusal(answer)["errors"][0]["pointer"] == "/load_kohm"

    def test_all_faults_come_at_once(self, world: World):
        changed = {"load_ohm": -1, "pitch_deg": 200, "runs": [{"voltage_v": "1.2"}]}
        answer = world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, **changed))
        assert [error["pointer"] for error in refusal(answer)["errors"]] == [
            "/pitch_deg", "/load_ohm", "/runs/0/voltage_v",
        ]  # fmt: skip

    def test_without_an_adult_at_the_fan(self, world: World):
        asked = session_payload(world.larch, started_at="2026-03-06T09:00:00Z", adult_present=False)
        session = created(world.larch.coach.post("/v1/sessions", json=asked))["id"]
        answer = world.larch.coach.post(
            "/v1/trials", json=trial_payload(world.larch, session_id=session)
        )
        assert refusal(answer)["errors"][0]["code"] == "supervisor_missing"


class TestResult:
    def test_the_worked_trial(self, world: World):
        """1.2 V, 30.1 Ω, 4.2 m/s, 22 °C, 950 hPa, 45 %; worked by hand in test_trial_result."""
        result = world.larch.reader.get(f"/v1/trials/{world.larch.trial_id}").json()["result"]
        assert result["power_w"] == pytest.approx(0.04784, abs=1e-5)
        assert result["air_density_kg_m3"] == pytest.approx(1.1160, rel=3e-4)
        assert result["normalised_power_w"] == pytest.approx(0.04415, abs=2e-5)
        assert result["normalised_power_cubic_w"] == pytest.approx(0.04536, abs=2e-5)
        assert result["u_own"] == pytest.approx(0.0509, abs=5e-4)
        assert result["u_bench"] == pytest.approx(0.1432, abs=5e-4)
        assert result["u_total"] == pytest.approx(0.1520, abs=5e-4)
        assert result["interval_w"] == pytest.approx(
            [0.04415 / math.exp(0.304), 0.04415 * math.exp(0.304)], rel=1e-3
        )
        assert (result["normalisation"], result["reason"]) == ("direct", None)
        assert (result["wind_exponent"], result["wind_exponent_source"]) == (2.6, "default")

    def test_other_units_are_si_inside_and_kept_as_typed(self, world: World):
        asked = trial_payload(world.larch, client_ref="units", runs=[{"voltage_mv": 1200}])
        del asked["load_ohm"]
        trial = created(world.larch.coach.post("/v1/trials", json=asked | {"load_kohm": 0.0301}))
        assert trial["load_ohm"] == 30.1
        assert trial["as_typed"]["load_ohm"] == {
            "value": 0.0301, "unit": "kΩ", "field": "load_kohm",
        }  # fmt: skip
        assert trial["runs"][0]["voltage_v"] == 1.2
        assert trial["runs"][0]["as_typed"]["voltage_v"]["value"] == 1200

    def test_a_loggers_series_counts_its_ripple(self, world: World):
        # mean of squares: (0² + 4²)/2 over 8 Ω = 1 W (closed form)
        runs = [{"series_voltage_v": [0.0, 4.0], "sample_rate_hz": 10}]
        asked = trial_payload(world.larch, load_ohm=8.0, meter_range_v=20.0, runs=runs)
        trial = created(world.larch.coach.post("/v1/trials", json=asked))
        assert trial["result"]["power_w"] == pytest.approx(1.0)
        assert trial["runs"][0]["series_voltage_v"] == [0.0, 4.0]

    def test_open_circuit_gives_no_power_and_says_why(self, world: World):
        asked = trial_payload(world.larch, kind="open_circuit", load_ohm=None, load_connected=None)
        result = created(world.larch.coach.post("/v1/trials", json=asked))["result"]
        assert result["power_w"] is None
        assert "how fast" in result["reason"]

    def test_without_wind_it_is_stored_and_not_normalised(self, world: World):
        asked = session_payload(
            world.larch, started_at="2026-03-07T09:00:00Z", wind_speed_start_m_s=None
        )
        session = created(world.larch.coach.post("/v1/sessions", json=asked))["id"]
        trial = created(
            world.larch.coach.post(
                "/v1/trials", json=trial_payload(world.larch, session_id=session)
            )
        )
        assert trial["state"] == "accepted"
        assert trial["result"]["power_w"] == pytest.approx(0.04784, abs=1e-5)
        assert trial["result"]["normalised_power_w"] is None
        assert trial["result"]["normalisation"] is None
        assert "no wind speed" in trial["result"]["reason"]

    def test_a_wind_grid_changes_what_was_measured_before(self, world: World):
        points = [
            {"x_radii": x, "y_radii": y, "wind_speed_m_s": v}
            for x, y, v in [(0, 0, 3.6), (0.75, 0, 4.1), (0, 0.75, 4.4), (-0.75, 0, 3.8),
                            (0, -0.75, 4.2)]
        ]  # fmt: skip
        grid = created(
            world.larch.coach.post(
                f"/v1/benches/{world.larch.bench_id}/wind-grids",
                json={"points": points, "monitor_wind_speed_m_s": 4.2},
            )
        )
        assert grid["equivalent_wind_speed_m_s"] == pytest.approx(4.060, abs=5e-4)
        result = world.larch.coach.get(f"/v1/trials/{world.larch.trial_id}").json()["result"]
        # session 4.2 × grid 4.060 / monitor 4.2
        assert result["wind_speed_m_s"] == pytest.approx(4.060, abs=5e-4)

    def test_the_reference_rotor_runs_anywhere(self, world: World):
        asked = trial_payload(world.larch, kind="reference", build_id=world.reference_build_id)
        trial = created(world.larch.coach.post("/v1/trials", json=asked))
        assert trial["organisation_id"] == world.larch.organisation_id


@pytest.mark.on_both
class TestStoredOnce:
    def test_the_same_trial_again_is_the_one_stored(self, world: World):
        asked = trial_payload(world.larch, client_ref="again")
        first = created(world.larch.coach.post("/v1/trials", json=asked))
        again = world.larch.coach.post("/v1/trials", json=asked)
        assert (again.status_code, again.json()["id"]) == (200, first["id"])

    def test_the_same_name_with_other_numbers_is_a_conflict(self, world: World):
        asked = trial_payload(world.larch, client_ref="clash")
        created(world.larch.coach.post("/v1/trials", json=asked))
        other = asked | {"runs": [{"voltage_v": 1.3}]}
        problem = refusal(world.larch.coach.post("/v1/trials", json=other), 409)
        assert "runs" in problem["detail"]

    def test_without_a_name_each_is_its_own(self, world: World):
        one, two = (
            created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch)))["id"]
            for _ in range(2)
        )
        assert one != two


class TestFlags:
    @pytest.mark.on_both
    def test_runs_that_disagree_hold_the_trial(self, world: World):
        runs = [{"voltage_v": 1.2}, {"voltage_v": 1.2}, {"voltage_v": 0.9}]
        trial = created(
            world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, runs=runs))
        )
        assert trial["state"] == "held"
        flag = trial["flags"][0]
        assert (flag["rule"], flag["severity"], flag["state"]) == ("runs_disagree", "hold", "open")

    def test_a_coarse_range_warns_and_counts(self, world: World):
        trial = created(
            world.larch.coach.post(
                "/v1/trials",
                json=trial_payload(
                    world.larch, meter_range_v=20, runs=[{"voltage_v": v} for v in (1.2, 1.21)]
                ),
            )
        )
        assert trial["state"] == "accepted"
        assert "meter_range_coarse" in [flag["rule"] for flag in trial["flags"]]

    def test_a_corrected_diameter_clears_its_flag(self, world: World):
        coach = world.larch.coach
        small = created(
            coach.post(
                "/v1/builds", json=build_payload(world.larch.turbine_id, rotor_diameter_m=0.1)
            )
        )
        # 2.5 W from 0.1 m at 4.2 m/s is eight times what the wind carries
        asked = trial_payload(
            world.larch, build_id=small["id"], meter_range_v=20, runs=[{"voltage_v": 8.6}]
        )
        trial = created(coach.post("/v1/trials", json=asked))
        assert (trial["flags"][0]["rule"], trial["state"]) == ("impossible_power", "held")
        put_right = coach.patch(
            f"/v1/builds/{small['id']}",
            json={"rotor_diameter_m": 1.0},
            headers={"If-Match": '"v1"'},
        )
        assert put_right.status_code == 200
        trial = coach.get(f"/v1/trials/{trial['id']}").json()
        assert trial["state"] == "accepted"
        assert "impossible_power" not in [flag["rule"] for flag in trial["flags"]]


class TestAskedAgain:
    def test_a_known_result_is_sent_again_once_it_moved(self, world: World):
        path = f"/v1/trials/{world.larch.trial_id}"
        tag = world.larch.coach.get(path).headers["ETag"]
        known = {"If-None-Match": tag}
        assert world.larch.coach.get(path, headers=known).status_code == 304
        moved = world.larch.coach.patch(
            f"/v1/sessions/{world.larch.session_id}",
            json={"wind_speed_start_m_s": 3.9},
            headers={"If-Match": '"v1"'},
        )
        assert moved.status_code == 200
        assert world.larch.coach.get(path, headers=known).status_code == 200
        noted = world.larch.coach.patch(path, json={"note": "x"}, headers={"If-Match": tag})
        assert noted.status_code == 200

    def test_a_series_in_millivolts(self, world: World):
        runs = [{"series_voltage_mv": [1200, 1200]}]
        trial = created(
            world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, runs=runs))
        )
        assert trial["runs"][0]["series_voltage_v"] == [1.2, 1.2]
        assert trial["result"]["power_w"] == pytest.approx(0.04784, abs=1e-5)

    def test_a_rotor_at_rest_tells_no_speed(self, world: World):
        path = f"/v1/turbines/{world.larch.turbine_id}"
        changed = world.larch.coach.patch(
            path, json={"generator_id": world.larch.generator_id}, headers={"If-Match": '"v1"'}
        )
        assert changed.status_code == 200
        asked = trial_payload(world.larch, runs=[{"voltage_v": 0.0}])
        result = created(world.larch.coach.post("/v1/trials", json=asked))["result"]
        assert (result["rotor_speed_rpm"], result["normalisation"]) == (None, None)
        assert result["reason"] == "at least one run gave no power"
