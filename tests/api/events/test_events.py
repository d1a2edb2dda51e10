"""Events: forecasts, refusals, and the review of a forecast."""

import math
from dataclasses import replace

import pytest

from tests.support.makers import (
    School,
    World,
    bench_payload,
    build_payload,
    created,
    session_payload,
    trial_payload,
)


def outlook(client, world):
    answer = client.get(f"/v1/events/{world.larch.event_id}/outlook")
    assert answer.status_code == 200, answer.text
    return answer.json()


def second_team(school: School, name: str) -> School:
    """Return the school with another team at the same bench."""
    facts = {"organisation_id": school.organisation_id, "season_id": school.season_id}
    team = created(school.coach.post("/v1/teams", json=facts | {"name": name}))["id"]
    facts = {"team_id": team, "name": "Spinner"}
    turbine = created(school.coach.post("/v1/turbines", json=facts))["id"]
    build = created(school.coach.post("/v1/builds", json=build_payload(turbine)))["id"]
    return replace(school, team_id=team, turbine_id=turbine, build_id=build)


def review(client, world):
    return client.get(f"/v1/events/{world.larch.event_id}/review").json()


def run(school, volts, **changed):
    asked = trial_payload(school, runs=[{"voltage_v": volts}] * 3, **changed)
    return created(school.coach.post("/v1/trials", json=asked))


def reference(world: World, school, volts):
    run(school, volts, kind="reference", build_id=world.reference_build_id)


@pytest.fixture
def joined(world: World) -> World:
    """Both schools with the reference rotor; Larch is stronger: 1.4 V against 1.2 V."""
    for time in range(3):
        for school, volts in ((world.larch, 1.4), (world.birch, 1.21)):
            reference(world, school, 1.2)
            run(school, volts + 0.001 * time)  # the same twice would be held as a duplicate
    return world


def at_event(world: World, school, volts):
    """Run a team's build on the event's day."""
    day = session_payload(school, started_at="2026-05-16T09:00:00Z", meter_id=school.meter_id)
    session = created(school.coach.post("/v1/sessions", json=day))["id"]
    for volt in volts:
        run(school, volt, kind="event", session_id=session)


class TestRefused:
    def test_without_an_anchor_nobody_is_placed(self, world: World):
        forecast = outlook(world.lead, world)
        assert {team["status"] for team in forecast["teams"]} == {"not_yet"}
        assert (forecast["entrants"], forecast["pairs"], forecast["whole_order"]) == (0, [], None)
        assert "reference rotor" in forecast["reason"]
        assert all("reference rotor" in team["reason"] for team in forecast["teams"])

    def test_teams_of_one_bench_are_ranked_without_an_anchor(self, world: World):
        second = second_team(world.larch, "Larch two")
        for time in range(3):
            run(world.larch, 1.5 + 0.001 * time)
            run(second, 1.2 + 0.001 * time)
        forecast = outlook(world.lead, world)
        assert forecast["entrants"] == 0
        (pair,) = forecast["pairs"]
        assert (pair["a"], pair["b"]) == (world.larch.build_id, second.build_id)
        assert pair["probability_a_ahead"] > 0.88  # 0.90, drawn from each event's own seed
        assert "Larch one" in pair["sentence"]
        sheet = world.lead.get(f"/v1/events/{world.larch.event_id}/sheet?format=html").text
        assert pair["sentence"] in sheet

    @pytest.mark.parametrize("volts", [(1.5, 1.2), (1.2, 1.5)], ids=["first", "second"])
    def test_groups_come_in_an_order_of_what_is_shown(self, volts, world: World):
        """An order by strength would reveal builds that are not shown but are in the group."""
        elsewhere = created(world.larch.coach.post("/v1/benches", json=bench_payload(
            world.larch, name="Hall", fan_setting="2")))["id"]  # fmt: skip
        asked = session_payload(world.larch, bench_id=elsewhere, meter_id=world.larch.meter_id)
        apart = created(world.larch.coach.post("/v1/sessions", json=asked))["id"]
        second = replace(second_team(world.larch, "Larch two"), session_id=apart)
        for school, volt in zip((world.larch, second), volts, strict=True):
            for time in range(3):
                run(school, volt + 0.001 * time)
        teams = outlook(world.larch.coach, world)["teams"]
        assert [team["team_name"] for team in teams] == ["Larch one", "Larch two"]

    def test_a_school_that_nothing_joins_is_not_placed(self, world: World):
        reference(world, world.larch, 1.2)
        forecast = outlook(world.lead, world)
        status = {team["team_name"]: team["status"] for team in forecast["teams"]}
        assert status == {"Larch one": "placed", "Birch one": "not_yet"}
        (birch,) = [team for team in forecast["teams"] if team["status"] == "not_yet"]
        assert (birch["median_w"], birch["first"]) == (None, None)
        assert "cannot be placed yet" in birch["sentence"]
        (link,) = forecast["missing_links"]
        assert link["joins"] == [world.birch.build_id]
        assert forecast["pairs"] == []

    def test_a_coach_announces_no_event(self, world: World):
        asked = {"season_id": world.season_id, "name": "Another", "held_on": "2026-05-17"}
        assert world.larch.coach.post("/v1/events", json=asked).status_code == 403

    def test_a_day_is_no_moment(self, world: World):
        asked = {"season_id": world.season_id, "name": "Another", "held_on": "16/05/2026"}
        assert world.lead.post("/v1/events", json=asked).status_code == 422

    def test_no_review_before_results(self, joined: World):
        scores = review(joined.lead, joined)
        assert (scores["coverage"], scores["finished"]) == (None, 0)
        assert "nobody finished" in scores["reason"]


class TestPlaced:
    def test_ranges_and_chances(self, joined: World):
        """Larch at 60 mW · (1.4/1.2)² = 82 mW before shrinkage, Birch at 60 mW, all at 4 m/s."""
        forecast = outlook(joined.lead, joined)
        larch, birch = forecast["teams"]
        assert larch["team_name"] == "Larch one"
        assert larch["median_w"] == pytest.approx(0.0817, rel=0.1)
        assert birch["median_w"] == pytest.approx(0.060, rel=0.1)
        low, high = larch["range_80_w"]
        assert low < larch["median_w"] < high
        assert larch["first"] + birch["first"] == pytest.approx(1.0)
        (pair,) = forecast["pairs"]
        assert pair["a"] == joined.larch.build_id
        assert pair["probability_a_ahead"] == pytest.approx(larch["first"])
        assert forecast["whole_order"] == pytest.approx(larch["first"])

    def test_the_same_facts_give_the_same_answer(self, joined: World):
        one, other = (outlook(client, joined) for client in (joined.lead, joined.larch.coach))
        mine = next(team for team in one["teams"] if team["team_name"] == "Larch one")
        # Who sees only one team sees its range, and no chance that weighs hidden ones.
        (seen,) = other["teams"]
        assert seen["median_w"] == pytest.approx(mine["median_w"], rel=0.01)
        assert seen["first"] is seen["top_half"] is other["whole_order"] is None
        assert "no other team is shown" in seen["sentence"]
        assert (other["entrants"], other["among_shown"]) == (1, True)
        assert (one["entrants"], one["among_shown"]) == (2, False)
        assert joined.birch.build_id not in str(other)

    def test_more_wind_means_more_watts(self, joined: World):
        before = outlook(joined.lead, joined)["teams"][0]["median_w"]
        joined.lead.patch(
            f"/v1/events/{joined.larch.event_id}",
            json={"wind_speed_m_s": 4.6}, headers={"If-Match": '"v1"'},
        )  # fmt: skip
        after = outlook(joined.lead, joined)["teams"][0]["median_w"]
        assert after / before == pytest.approx(1.15**2.6, rel=0.02)

    def test_a_long_pause_makes_finishing_less_sure(self, joined: World):
        larch = outlook(joined.lead, joined)["teams"][0]
        assert larch["days_since_last_trial"] == 71  # 5 March to 16 May
        assert larch["top_half"] < 0.95


class TestComparisonBeforeIt:
    def test_what_came_on_the_day_is_left_out(self, joined: World):
        path = f"/v1/seasons/{joined.season_id}/comparison"
        event = {"event_id": joined.larch.event_id}
        before = joined.lead.get(path, params=event).json()
        day = session_payload(joined.larch, started_at="2026-05-16T09:00:00Z")
        session = created(joined.larch.coach.post("/v1/sessions", json=day))["id"]
        run(joined.larch, 1.9, session_id=session)
        after = joined.lead.get(path, params=event).json()
        assert after["builds"] == before["builds"]
        assert joined.lead.get(path).json()["builds"] != before["builds"]

    def test_another_seasons_event_is_not_there(self, joined: World):
        facts = {"name": "Autumn", "starts_on": "2026-09-01", "ends_on": "2026-12-01"}
        season = created(joined.lead.post("/v1/seasons", json=facts))["id"]
        answer = joined.lead.get(
            f"/v1/seasons/{season}/comparison", params={"event_id": joined.larch.event_id}
        )
        assert answer.status_code == 404


class TestReview:
    def test_the_best_run_of_the_day_counts(self, joined: World):
        joined.lead.patch(
            f"/v1/events/{joined.larch.event_id}",
            json={"best_of": 2}, headers={"If-Match": '"v1"'},
        )  # fmt: skip
        forecast = outlook(joined.lead, joined)
        larch = forecast["teams"][0]["median_w"]
        volts = math.sqrt(larch * 30.1)
        at_event(joined, joined.larch, [0.9 * volts, volts])
        at_event(joined, joined.birch, [0.3])
        scores = review(joined.lead, joined)
        first, second = scores["teams"]
        assert first["result_w"] == pytest.approx(larch)
        assert first["z"] == pytest.approx(0.0, abs=0.01)
        assert (first["within"], second["within"]) == (True, False)
        assert (scores["coverage"], scores["finished"]) == (0.5, 2)
        ahead = forecast["pairs"][0]["probability_a_ahead"]
        assert scores["brier"] == pytest.approx((1 - ahead) ** 2)
        assert scores["sentence"].startswith("1 of 2 results")
        # Of two, the figures over both would tell a coach how the other one did.
        hers = review(joined.larch.coach, joined)
        assert [team["team_name"] for team in hers["teams"]] == ["Larch one"]
        assert hers["coverage"] is hers["brier"] is hers["mean_ln_bias"] is None
        assert "not shown here" in hers["sentence"]

    def test_results_of_the_day_leave_the_forecast_as_it_was(self, joined: World):
        before = outlook(joined.lead, joined)
        at_event(joined, joined.larch, [1.9])
        after = outlook(joined.lead, joined)
        assert after["revision"] > before["revision"]
        assert after["teams"] == before["teams"]
