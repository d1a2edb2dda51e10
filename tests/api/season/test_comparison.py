"""The fair comparison over the API: groups, pairs, and access."""

import math

import pytest

from api.services.season import comparisons
from tests.support.makers import World, created, trial_payload


def comparison(client, world):
    answer = client.get(f"/v1/seasons/{world.season_id}/comparison")
    assert answer.status_code == 200, answer.text
    return answer.json()


def run_own(world: World, school, volts, runs=3, **changed):
    asked = trial_payload(school, runs=[{"voltage_v": volts}] * runs, **changed)
    return created(school.coach.post("/v1/trials", json=asked))


def reference(world: World, school, volts):
    """Run the reference rotor at a school's bench."""
    asked = trial_payload(
        school, kind="reference", build_id=world.reference_build_id,
        runs=[{"voltage_v": volts}] * 3,
    )  # fmt: skip
    return created(school.coach.post("/v1/trials", json=asked))


class TestNotYet:
    def test_two_benches_without_a_link(self, world: World):
        compared = comparison(world.lead, world)
        assert len(compared["groups"]) == 2
        (pair,) = compared["pairs"]
        assert (pair["comparable"], pair["statement"]) == ("not_yet", "not_yet")
        assert pair["probability_a_ahead"] is None
        assert "cannot be compared yet" in pair["sentence"]
        assert all(build["fair_power_w"] is None for build in compared["builds"])
        assert "reference rotor" in compared["builds"][0]["reason"]

    def test_the_missing_link_is_named(self, world: World):
        (link,) = comparison(world.lead, world)["missing_links"]
        assert link["needs"] == "visit"
        reference(world, world.larch, 1.2)
        (link,) = comparison(world.lead, world)["missing_links"]
        assert link["needs"] == "reference"
        assert link["joins"] == [world.birch.build_id]
        assert "One session of the reference rotor at Birch hall" in link["sentence"]

    def test_a_season_without_trials_says_so(self, lead):
        season = created(
            lead.post(
                "/v1/seasons",
                json={"name": "Empty", "starts_on": "2026-02-02", "ends_on": "2026-05-29"},
            )
        )
        body = lead.get(f"/v1/seasons/{season['id']}/comparison").json()
        assert (body["builds"], body["reason"]) == ([], "no trial that counts has been stored yet")


class TestJoined:
    def test_the_reference_rotor_frees_powers_of_their_benches(self, world: World):
        """Larch has 1.2 V with a reference of 1.2 V, Birch 1.2 V with one of 1.5 V.

        By the ratio to the reference, 60 mW assigned: Larch 60 mW, Birch 60/1.5625 = 38.4 mW.
        """
        for _ in range(4):
            reference(world, world.larch, 1.2)
            reference(world, world.birch, 1.5)
            run_own(world, world.larch, 1.2)
            run_own(world, world.birch, 1.2)
        compared = comparison(world.lead, world)
        assert len(compared["groups"]) == 1
        fair = {build["team_name"]: build for build in compared["builds"]}
        assert fair["Larch one"]["fair_power_w"] == pytest.approx(0.060, rel=0.12)
        assert fair["Birch one"]["fair_power_w"] == pytest.approx(0.0384, rel=0.12)
        assert fair["Larch one"]["u_total"] < 0.15
        low, high = fair["Larch one"]["interval_w"]
        assert low < 0.060 < high
        (pair,) = compared["pairs"]
        assert pair["a"] == world.larch.build_id
        assert pair["statement"] == "a_ahead"
        assert "Larch one is ahead of Birch one" in pair["sentence"]
        assert compared["missing_links"] == []
        effects = {bench["name"]: bench["effect_pct"] for bench in compared["benches"]}
        # the reference reads ln 1.5625 = 0.446 higher at Birch: shared out between the two
        assert math.log1p(effects["Birch hall"] / 100) - math.log1p(
            effects["Larch hall"] / 100
        ) == pytest.approx(0.446, abs=0.08)

    def test_a_new_trial_moves_it_at_once(self, world: World):
        reference(world, world.larch, 1.2)
        before = comparison(world.lead, world)
        run_own(world, world.larch, 1.6)
        after = comparison(world.lead, world)
        (one,) = [b for b in before["builds"] if b["build_id"] == world.larch.build_id]
        (two,) = [b for b in after["builds"] if b["build_id"] == world.larch.build_id]
        assert two["fair_power_w"] > one["fair_power_w"]
        assert two["trials"] == one["trials"] + 1

    def test_held_trials_are_left_out(self, world: World):
        asked = trial_payload(world.larch, runs=[{"voltage_v": 1.2}, {"voltage_v": 0.8}])
        created(world.larch.coach.post("/v1/trials", json=asked))
        assert comparison(world.lead, world)["trials"] == 2


def test_of_very_many_each_is_held_against_the_next_ones(world: World, monkeypatch):
    """Two builds, of a programme in which more than one is very many and no next one is listed."""
    complete = comparison(world.lead, world)
    monkeypatch.setattr(comparisons, "ALL_PAIRS_UP_TO", 1)
    monkeypatch.setattr(comparisons, "NEXT_ONES", 0)
    run_own(world, world.larch, 1.3)
    few = comparison(world.lead, world)
    assert (few["pairs"], few["pairs_not_listed"]) == ([], len(complete["pairs"]))
    monkeypatch.setattr(comparisons, "NEXT_ONES", 1)
    run_own(world, world.larch, 1.31)
    compared = comparison(world.lead, world)
    assert (len(compared["pairs"]), compared["pairs_not_listed"]) == (1, 0)


class TestVisibility:
    def test_a_coach_sees_the_own_school_only(self, world: World):
        answer = world.larch.coach.get(f"/v1/seasons/{world.season_id}/comparison")
        body = answer.json()
        assert [build["team_name"] for build in body["builds"]] == ["Larch one"]
        assert body["not_shown"] == 1
        assert world.birch.build_id not in answer.text
        assert world.birch.bench_id not in answer.text

    def test_and_of_schools_that_share_by_name_but_not_of_their_benches(self, world: World):
        world.lead.patch(
            f"/v1/organisations/{world.birch.organisation_id}",
            json={"sharing": "named"},
            headers={"If-Match": '"v1"'},
        )
        answer = world.larch.coach.get(f"/v1/seasons/{world.season_id}/comparison")
        names = sorted(build["team_name"] for build in answer.json()["builds"])
        assert names == ["Birch one", "Larch one"]
        assert [bench["name"] for bench in answer.json()["benches"]] == ["Larch hall"]


class TestOneSchool:
    def test_another_school_is_not_there_for_a_coach(self, world: World):
        path = f"/v1/seasons/{world.season_id}/comparison"
        asked = world.larch.coach.get(f"{path}?organisation_id={world.birch.organisation_id}")
        assert asked.status_code == 404

    def test_only_its_builds_benches_and_pairs_are_listed(self, world: World):
        for school in (world.larch, world.birch):
            reference(world, school, 1.2)
        path = f"/v1/seasons/{world.season_id}/comparison"
        body = world.lead.get(f"{path}?organisation_id={world.birch.organisation_id}").json()
        assert [build["team_name"] for build in body["builds"]] == ["Birch one"]
        assert [bench["name"] for bench in body["benches"]] == ["Birch hall"]
        (pair,) = body["pairs"]
        assert world.birch.build_id in (pair["a"], pair["b"])


def test_of_very_many_builds_the_strongest_current_ones_are_listed(world: World, monkeypatch):
    """A programme in which more than one is very many."""
    monkeypatch.setattr(comparisons, "MOST_BUILDS", 1)
    for school in (world.larch, world.birch):
        reference(world, school, 1.2)
    run_own(world, world.birch, 1.3)
    body = comparison(world.lead, world)
    assert [build["team_name"] for build in body["builds"]] == ["Birch one"]
    assert body["builds_not_listed"] == 1
