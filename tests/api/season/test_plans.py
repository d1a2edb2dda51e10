"""The plan of sessions and visits: its steps, and access to it."""

from tests.support.makers import World, created, trial_payload


def plan(client, world):
    return client.get(f"/v1/seasons/{world.season_id}/plan").json()


def refer(world, school):
    trial = trial_payload(school, kind="reference", build_id=world.reference_build_id)
    created(world.lead.post("/v1/trials", json=trial))


def test_the_bench_that_nothing_joins_comes_first(world: World):
    refer(world, world.larch)
    planned = plan(world.lead, world)
    first = planned["steps"][0]
    assert (first["kind"], first["bench_id"], first["joins"]) == (
        "reference", world.birch.bench_id, 1
    )  # fmt: skip
    assert first["doubt_before_pct"] == planned["doubt_pct"]
    assert first["doubt_after_pct"] < 0.7 * first["doubt_before_pct"]
    assert "reference rotor at Birch hall" in first["sentence"]


def test_what_was_done_is_worth_less_than_it_was(world: World):
    refer(world, world.larch)
    before = plan(world.lead, world)
    refer(world, world.birch)
    after = plan(world.lead, world)
    # It ran in the same session as the team's trial, which is better than a session of its own.
    assert after["doubt_pct"] < before["steps"][0]["doubt_after_pct"] < before["doubt_pct"]
    assert all(step["joins"] == 0 for step in after["steps"])


def test_a_visit_day_of_all_stands_beside_it(world: World):
    refer(world, world.larch)
    refer(world, world.birch)
    day = plan(world.lead, world)["visit_day"]
    assert day["kind"] == "visit_day"
    assert sorted(day["team_ids"]) == sorted([world.larch.team_id, world.birch.team_id])
    assert day["doubt_after_pct"] < day["doubt_before_pct"]


def test_a_coach_sees_no_step_of_another_school(world: World):
    refer(world, world.larch)
    planned = plan(world.larch.coach, world)
    assert "Birch" not in str(planned)
    assert world.birch.bench_id not in str(planned)
    assert world.birch.team_id not in str(planned)


def test_one_team_has_nothing_to_plan(world: World):
    path = f"/v1/trials/{world.birch.trial_id}/withdraw"
    assert world.lead.post(path, json={"reason": "a blade was loose"}).status_code == 200
    planned = plan(world.lead, world)
    assert (planned["steps"], planned["visit_day"]) == ([], None)
    assert "two teams" in planned["reason"]
