"""Readiness of a team, step by step, and inspections that are refused."""

import pytest

from tests.support.events import event, inspect, larch_of, patch, readiness
from tests.support.makers import (
    World,
    build_payload,
    created,
    rule_set,
    trial_payload,
)


class TestReadiness:
    def test_it_becomes_ready_step_by_step(self, world: World):
        """0.45 m against 0.60 m: met at once; what nobody has looked at is open."""
        team, checks = larch_of(readiness(world.larch.coach, world))
        assert {name: check["outcome"] for name, check in checks.items()} == {
            "rotor_size": "pass", "hazards": "not_shown", "pull_test": "not_shown"
        }  # fmt: skip
        assert team["status"] == "open"
        assert "not inspected yet" in team["next_action"]
        created(inspect(world.larch, world, [{"check": "hazards", "outcome": "pass"}]))
        pulled = [{"check": "pull_test", "outcome": "pass", "measured": 60.0}]
        created(inspect(world.larch, world, pulled))
        team, checks = larch_of(readiness(world.larch.coach, world))
        assert checks["pull_test"]["outcome"] == "not_shown"  # nobody has weighed a blade
        assert "for that note the mass of a blade first" in team["next_action"]
        assert patch(world.larch.coach, f"/v1/builds/{world.larch.build_id}",
                     blade_mass_kg=0.012).status_code == 200  # fmt: skip
        created(inspect(world.larch, world, pulled))
        team, checks = larch_of(readiness(world.larch.coach, world))
        assert (team["status"], team["next_action"][:5]) == ("ready", "Ready")
        assert checks["pull_test"]["inspector"] == "steward"

    def test_what_is_left_open_wipes_out_no_fault(self, world: World):
        created(inspect(world.larch, world, [{"check": "hazards", "outcome": "fail"}]))
        created(inspect(world.larch, world, [{"check": "hazards", "outcome": "not_shown"}]))
        assert larch_of(readiness(world.lead, world))[1]["hazards"]["outcome"] == "fail"

    def test_a_school_does_not_pass_what_a_lead_failed(self, world: World):
        failed = [{"check": "hazards", "outcome": "fail", "evidence": "a metal blade"}]
        created(inspect(world.larch, world, failed, world.lead))
        created(inspect(world.larch, world, [{"check": "hazards", "outcome": "pass"}]))
        _, checks = larch_of(readiness(world.lead, world))
        assert checks["hazards"]["outcome"] == "fail"
        assert "a metal blade" in checks["hazards"]["sentence"]
        created(inspect(world.larch, world, [{"check": "hazards", "outcome": "pass"}], world.lead))
        assert larch_of(readiness(world.lead, world))[1]["hazards"]["outcome"] == "pass"

    def test_a_rule_that_reads_otherwise_asks_again(self, world: World):
        created(inspect(world.larch, world, [{"check": "hazards", "outcome": "pass"}]))
        tighter = rule_set()
        tighter["checks"][1]["items"] = ["no metal blades", "no glass"]
        assert patch(world.lead, event(world), rule_set=tighter).status_code == 200
        assert larch_of(readiness(world.lead, world))[1]["hazards"]["outcome"] == "not_shown"

    def test_new_blades_are_pulled_again(self, world: World):
        facts = {"blade_mass_kg": 0.012}
        patch(world.larch.coach, f"/v1/builds/{world.larch.build_id}", **facts)
        pulled = [{"check": "pull_test", "outcome": "pass", "measured": 60.0}]
        created(inspect(world.larch, world, pulled))
        assert larch_of(readiness(world.lead, world))[1]["pull_test"]["outcome"] == "pass"
        same = build_payload(world.larch.turbine_id, **facts)
        created(world.larch.coach.post("/v1/builds", json=same))
        assert larch_of(readiness(world.lead, world))[1]["pull_test"]["outcome"] == "not_shown"

    def test_the_highest_wind_its_trials_saw_counts(self, world: World):
        """At 5.5 m/s for 4.2: (5.5/4.2)² times the pull, though the event is at 4."""
        patch(world.larch.coach, f"/v1/builds/{world.larch.build_id}", blade_mass_kg=0.012)
        before = larch_of(readiness(world.lead, world))[1]["pull_test"]["limit"]
        created(world.larch.coach.post(
            "/v1/trials", json=trial_payload(world.larch, wind_speed_m_s=5.5)))  # fmt: skip
        after = larch_of(readiness(world.lead, world))[1]["pull_test"]["limit"]
        assert after / before == pytest.approx((5.5 / 4.2) ** 2, rel=1e-3)

    def test_a_rule_set_of_old_that_cannot_be_read(self, world: World, app_client):
        from api.models.registry.events import Event

        with app_client.app.state.database.unit_of_work() as db:
            db.get(Event, world.larch.event_id).rule_set = {"max_diameter_m": 0.6}
        status = readiness(world.lead, world)
        assert (status["teams"], "send it again" in status["reason"]) == ([], True)

    def test_a_pull_below_what_the_blade_needs_is_a_fault(self, world: World):
        """4.2 m/s, λ 6, 0.45 m: ω = 112 rad/s; 2 · 0.012 · 112² · 0.1125 = 33.87 N."""
        path = f"/v1/builds/{world.larch.build_id}"
        assert patch(world.larch.coach, path, blade_mass_kg=0.012).status_code == 200
        for pull, outcome in ((33.0, "fail"), (34.0, "pass")):
            finding = {"check": "pull_test", "outcome": "pass", "measured": pull}
            created(inspect(world.larch, world, [finding]))
            _, checks = larch_of(readiness(world.larch.coach, world))
            assert checks["pull_test"]["outcome"] == outcome
            assert checks["pull_test"]["limit"] == pytest.approx(33.87, abs=0.01)

    @pytest.mark.parametrize(
        ("diameter", "outcome", "status"),
        [(0.600, "pass", "open"), (0.601, "not_shown", "open"), (0.603, "fail", "not ready")],
    )
    def test_the_doubt_of_a_measure(self, diameter, outcome, status, world: World):
        path = f"/v1/builds/{world.larch.build_id}"
        assert patch(world.larch.coach, path, rotor_diameter_m=diameter).status_code == 200
        team, checks = larch_of(readiness(world.larch.coach, world))
        assert (checks["rotor_size"]["outcome"], team["status"]) == (outcome, status)
        assert checks["rotor_size"]["value"] == pytest.approx(100 * diameter)
        assert checks["rotor_size"]["unit"] == "cm"

    def test_a_change_resets_what_it_touches_and_no_more(self, world: World):
        path = f"/v1/builds/{world.larch.build_id}"
        assert patch(world.larch.coach, path, material="card").status_code == 200
        created(inspect(world.larch, world, [{"check": "hazards", "outcome": "pass"}]))
        assert patch(world.larch.coach, path, pitch_deg=9.0).status_code == 200
        assert larch_of(readiness(world.lead, world))[1]["hazards"]["outcome"] == "pass"
        assert patch(world.larch.coach, path, material="plywood").status_code == 200
        _, checks = larch_of(readiness(world.lead, world))
        assert checks["hazards"]["outcome"] == "not_shown"
        assert "changed since it was inspected" in checks["hazards"]["sentence"]

    def test_a_new_build_keeps_what_it_left_alone(self, world: World):
        created(inspect(world.larch, world, [{"check": "hazards", "outcome": "pass"}]))
        created(world.larch.coach.post("/v1/builds", json=build_payload(world.larch.turbine_id)))
        team, checks = larch_of(readiness(world.lead, world))
        assert (team["build_number"], checks["hazards"]["outcome"]) == (2, "pass")

    def test_a_school_sees_its_own_teams_alone(self, world: World):
        status = readiness(world.larch.coach, world)
        assert [team["team_name"] for team in status["teams"]] == ["Larch one"]
        assert sum(status["counts"].values()) == 1
        assert len(readiness(world.lead, world)["teams"]) == 2
        assert any("risk assessment" in words for words in status["cautions"])


class TestRefusedInspections:
    def test_of_a_build_that_changed_since(self, world: World):
        patch(world.larch.coach, f"/v1/builds/{world.larch.build_id}", pitch_deg=9.0)
        refused = inspect(world.larch, world, [{"check": "hazards", "outcome": "pass"}],
                          build_version=1)  # fmt: skip
        assert refused.status_code == 409
        assert "was changed since" in refused.json()["detail"]

    def test_of_what_the_turbine_is_no_more(self, world: World):
        created(world.larch.coach.post("/v1/builds", json=build_payload(world.larch.turbine_id)))
        refused = inspect(world.larch, world, [{"check": "hazards", "outcome": "pass"}])
        assert refused.status_code == 409
        assert "build 2 now" in refused.json()["detail"]

    def test_by_another_school_and_by_a_reader(self, world: World):
        findings = [{"check": "hazards", "outcome": "pass"}]
        assert inspect(world.larch, world, findings, world.birch.coach).status_code == 404
        assert inspect(world.larch, world, findings, world.larch.reader).status_code == 403

    def test_a_check_that_the_rules_do_not_have(self, world: World):
        refused = inspect(world.larch, world, [{"check": "hazard", "outcome": "pass"}])
        assert refused.json()["errors"][0]["pointer"] == "/findings/0/check"
        assert refused.json()["errors"][0]["hint"] == "Did you mean hazards?"

    def test_of_a_reference_rotor_and_without_rules(self, world: World):
        asked = {"build_id": world.reference_build_id, "build_version": 1, "inspector": "steward",
                 "findings": [{"check": "hazards", "outcome": "pass"}]}  # fmt: skip
        assert world.lead.post(f"{event(world)}/inspections", json=asked).status_code == 422
        patch(world.lead, event(world), rule_set=None)
        refused = inspect(world.larch, world, [{"check": "hazards", "outcome": "pass"}])
        assert refused.status_code == 409
