"""A team's progress over the API: figures, reasons for missing ones, and the next test."""

import math
from datetime import UTC, datetime, timedelta

import pytest

from tests.support.makers import World, build_payload, created, session_payload, trial_payload
from tests.support.odd_trials import submit_odd

LOADS = [15.0, 22.0, 30.1, 47.0, 68.0]


def progress(school, team_id=None):
    answer = school.coach.get(f"/v1/teams/{team_id or school.team_id}/progress")
    assert answer.status_code == 200, answer.text
    return answer.json()


def run(school, volts, **changed):
    runs = [{"voltage_v": volt} for volt in volts]
    return created(
        school.coach.post("/v1/trials", json=trial_payload(school, runs=runs, **changed))
    )


def sweep_pitch(school, best_deg, pitches, load_ohm=30.1):
    """Sweep the pitch of a rotor whose power falls off evenly in ln pitch about its best."""
    for pitch in pitches:
        power = 0.05 * math.exp(-1.6 * math.log(pitch / best_deg) ** 2)
        volt = math.sqrt(power * load_ohm)
        volts = [volt * 0.995, volt * 1.005, volt]
        run(school, volts, kind="pitch", pitch_deg=pitch, load_ohm=load_ohm)


def sweep_load(school, source_v, source_ohm):
    """Sweep the load of a source with a fixed voltage behind a fixed resistance."""
    for load in LOADS:
        run(school, [source_v * load / (load + source_ohm)] * 3, kind="load", load_ohm=load)


def next_build(school, number, **changed):
    payload = build_payload(school.turbine_id, **changed)
    build = created(school.coach.post("/v1/builds", json=payload))
    assert build["number"] == number
    return build["id"]


class TestNotYet:
    def test_another_school_sees_nothing(self, world: World):
        answer = world.birch.coach.get(f"/v1/teams/{world.larch.team_id}/progress")
        assert answer.status_code == 404

    def test_a_team_without_builds_is_asked_to_begin(self, world: World):
        facts = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
        team = created(world.larch.coach.post("/v1/teams", json=facts | {"name": "Larch new"}))
        progressed = progress(world.larch, team["id"])
        assert (progressed["builds"], progressed["reason"]) == ([], "no record trial counts yet")
        assert progressed["next_test"]["factor"] == "record"

    def test_one_session_is_no_trend(self, world: World):
        trend = progress(world.larch)["trend"]
        assert (trend["verdict"], trend["slope_pct_per_week"]) == ("too_early", None)
        assert "4 sessions" in trend["reason"]

    def test_a_peak_at_the_edge_is_not_called(self, world: World):
        sweep_pitch(world.larch, 20.0, [6.0, 8.0, 11.0, 14.0])
        progressed = progress(world.larch)
        (pitch,) = progressed["pitch"]
        assert (pitch["bracketed"], pitch["best_pitch_deg"]) == (False, None)
        assert "still rising at the highest pitch" in pitch["reason"]
        assert pitch["next_pitch_deg"] > 14.0
        assert progressed["next_test"]["value"] == pitch["next_pitch_deg"]


class TestKnown:
    def test_a_build_has_its_typical_power(self, world: World):
        (build,) = progress(world.larch)["builds"]
        assert build["normalised_power_w"] == pytest.approx(0.04415, abs=5e-5)  # worked example
        assert build["best_seen_w"] == pytest.approx(build["normalised_power_w"])
        assert build["wind_exponent_source"] == "default"

    def test_the_best_pitch_is_found_back(self, world: World):
        sweep_pitch(world.larch, 11.2, [8.0, 10.0, 11.0, 12.5, 15.0])
        (pitch,) = progress(world.larch)["pitch"]
        assert pitch["bracketed"]
        assert pitch["best_pitch_deg"] == pytest.approx(11.2, abs=0.3)
        low, high = pitch["plateau_deg"]
        assert low < 11.2 < high

    def test_source_voltage_and_resistance_are_found_back(self, world: World):
        sweep_load(world.larch, source_v=2.4, source_ohm=30.0)
        (load,) = progress(world.larch)["load"]
        assert load["valid"], load["reason"]
        assert load["source_resistance_ohm"] == pytest.approx(30.0, rel=0.02)
        assert load["matched_load_ohm"] == pytest.approx(30.0, rel=0.02)

    def test_a_team_growing_five_weeks_running(self, world: World):
        """Volts up 3 % a week are power up 6.09 % a week; five in order by chance: 1 in 120."""
        first = datetime(2026, 3, 5, 14, 30, tzinfo=UTC)
        for week in range(1, 5):
            moment = (first + timedelta(weeks=week)).isoformat()
            asked = session_payload(world.larch, started_at=moment, meter_id=world.larch.meter_id)
            session = created(world.larch.coach.post("/v1/sessions", json=asked))
            run(world.larch, [1.2 * 1.03**week] * 3, session_id=session["id"])
        trend = progress(world.larch)["trend"]
        assert trend["verdict"] == "improving"
        assert trend["slope_pct_per_week"] == pytest.approx(6.09, abs=0.01)
        assert trend["p_one_sided"] == pytest.approx(1 / 120, rel=1e-3)

    def test_a_trial_more_is_seen_at_once(self, world: World):
        before = progress(world.larch)
        run(world.larch, [1.3, 1.3, 1.3])
        after = progress(world.larch)
        assert after["revision"] > before["revision"]
        assert after["builds"][0]["trials"] == before["builds"][0]["trials"] + 1


class TestChange:
    def test_a_large_change_is_said_and_a_small_one_is_not(self, world: World):
        second = next_build(world.larch, 2, changed_factor="blade_count", blade_count=4)
        third = next_build(world.larch, 3, changed_factor="blade_count", blade_count=5)
        for _ in range(3):
            run(world.larch, [1.2, 1.2, 1.2])
            run(world.larch, [1.6, 1.6, 1.6], build_id=second)
            run(world.larch, [1.605, 1.605, 1.605], build_id=third)
        large, small = progress(world.larch)["changes"]
        assert large["effect_pct"] == pytest.approx(100 * (1.6**2 / 1.2**2 - 1), abs=0.1)
        assert "% more" in large["sentence"]
        assert large["sentence"].startswith("From build 1 to 2, the change of blade count gave")
        assert "no difference is known yet" in small["sentence"]
        assert small["detectable_pct"] > small["effect_pct"]

    def test_what_comes_next_follows_the_newest_build(self, world: World):
        assert progress(world.larch)["next_test"]["factor"] == "pitch"
        sweep_pitch(world.larch, 11.2, [8.0, 10.0, 11.0, 12.5, 15.0])
        progressed = progress(world.larch)["next_test"]
        assert (progressed["factor"], progressed["value"]) == ("load", None)
        assert "around the one in use" in progressed["sentence"]
        sweep_load(world.larch, 2.4, 30.0)
        assert progress(world.larch)["next_test"]["factor"] == "repeat"
        next_build(world.larch, 2)
        progressed = progress(world.larch)["next_test"]
        assert (progressed["factor"], progressed["value"]) == ("record", 2.0)

    def test_a_sweep_begins_where_the_build_before_was_best(self, world: World):
        progressed = progress(world.larch)["next_test"]
        assert (progressed["factor"], progressed["value"]) == ("pitch", 8.0)
        sweep_pitch(world.larch, 11.2, [8.0, 10.0, 11.0, 12.5, 15.0])
        second = next_build(world.larch, 2, changed_factor="blade_count", blade_count=4)
        run(world.larch, [1.4, 1.4, 1.4], build_id=second)
        progressed = progress(world.larch)["next_test"]
        assert progressed["value"] == pytest.approx(11.2, abs=0.3)
        assert "where build 1 was best" in progressed["sentence"]

    def test_a_large_gain_is_given_as_a_factor(self, world: World):
        second = next_build(world.larch, 2, changed_factor="pitch")
        run(world.larch, [1.8, 1.8, 1.8])
        run(world.larch, [3.6, 3.6, 3.6], build_id=second, meter_range_v=20.0)
        (change,) = progress(world.larch)["changes"]
        assert change["effect_pct"] > 200
        assert f"{1 + change['effect_pct'] / 100:.1f} times the power" in change["sentence"]


def test_a_trial_that_does_not_fit_the_season_shows_no_change(world: World):
    """The older build's odd trial has 2.5 times the power; the newer build is as strong as it."""
    odd = submit_odd(world.larch)
    newer = next_build(world.larch, 2, changed_factor="pitch")
    for volts in (1.203, 1.208, 1.213):
        run(world.larch, [volts] * 3, build_id=newer)
    (change,) = progress(world.larch)["changes"]
    assert abs(change["effect_pct"]) < 3
    body = {"reason": "seen twice"}
    assert world.larch.coach.post(f"/v1/trials/{odd['id']}/confirm", json=body).status_code == 200
    (change,) = progress(world.larch)["changes"]
    assert change["effect_pct"] < -8
