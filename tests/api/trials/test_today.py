"""The tasks of a day follow from facts only, and each caller sees their own."""

from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest

from api.models.registry.teams import Team
from api.services.core.scope import Caller
from api.services.trials import today
from tests.support.makers import created, session_payload, trial_payload

#: The world's trials are of 5 March 2026, its season of February to May, its event of 16 May.
SOON, LATER = datetime(2026, 3, 10, tzinfo=UTC), datetime(2026, 4, 10, tzinfo=UTC)


@pytest.fixture
def seen(world, app_client):
    """Return the page of a day for a caller."""

    def see(now, school=None):
        reach = None if school is None else frozenset({school.organisation_id})
        caller = Caller("key_x", "x", "lead" if school is None else "coach", reach)
        with app_client.app.state.database.reading() as db:
            return today.today(db, caller, now)

    return see


def test_a_programme_without_a_season(app_client):
    caller = Caller("key_x", "x", "lead", None)
    with app_client.app.state.database.reading() as db:
        found = today.today(db, caller, SOON)
    assert (found.season, found.held, found.quiet, found.event) == (None, 0, [], None)


@pytest.mark.on_both
def test_teams_are_quiet_from_two_weeks_without_a_trial_on(world, seen):
    tested = datetime(2026, 3, 5, 14, 30, tzinfo=UTC)
    assert seen(tested + timedelta(days=14)).quiet_count == 0
    assert seen(tested + timedelta(days=14, minutes=1)).quiet_count == 2
    (mine,) = seen(LATER, world.larch).quiet
    assert (mine.name, mine.last_at) == ("Larch one", tested)


def test_a_team_that_never_tested_comes_first_two_weeks_after_it_was_registered(
    world, seen, app_client
):
    team = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
    made = created(world.larch.coach.post("/v1/teams", json=team | {"name": "Zelkova"}))
    assert [each.name for each in seen(LATER, world.larch).quiet] == ["Larch one"]
    with app_client.app.state.database.unit_of_work() as db:
        db.get_one(Team, made["id"]).created_at = SOON - timedelta(days=15)
    assert [each.name for each in seen(LATER, world.larch).quiet] == ["Zelkova", "Larch one"]
    assert [each.name for each in seen(SOON, world.larch).quiet] == ["Zelkova"]


def test_after_a_season_nobody_is_quiet(world, seen):
    over = seen(datetime(2026, 7, 1, tzinfo=UTC))
    assert (over.is_running, over.quiet_count, over.event) == (False, 0, None)


def test_a_bench_is_anchored_by_a_reference_run_that_counts(world, seen):
    assert [bench.name for bench in seen(SOON, world.larch).unanchored] == ["Larch hall"]
    payload = trial_payload(world.larch, kind="reference", build_id=world.reference_build_id)
    trial = created(world.larch.coach.post("/v1/trials", json=payload))
    assert seen(SOON, world.larch).unanchored == []
    away = world.larch.coach.post(f"/v1/trials/{trial['id']}/withdraw", json={"reason": "no load"})
    assert away.status_code == 200
    assert [bench.name for bench in seen(SOON, world.larch).unanchored] == ["Larch hall"]


def test_questions_are_what_waits_and_what_looks_odd_is_counted(world, seen):
    apart = [{"voltage_v": 1.2}, {"voltage_v": 1.9}]
    created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, runs=apart)))
    found = seen(SOON, world.larch)
    assert [each.severity for each in found.questions] == ["hold"]
    flags = world.larch.coach.get("/v1/flags?state=open&limit=200").json()["items"]
    severities = Counter(each["severity"] for each in flags)
    assert (found.held, found.odd) == (severities["hold"], severities["warn"])
    assert found.odd > 0
    assert seen(SOON, world.birch).held == 0


def test_the_event_is_counted_down_to_its_day(world, seen):
    assert seen(SOON).days_left == 67  # 21 days of March, 30 of April, 16 of May
    assert seen(datetime(2026, 5, 16, 20, tzinfo=UTC)).days_left == 0
    assert seen(datetime(2026, 5, 17, tzinfo=UTC)).event is None


@pytest.mark.on_both
def test_what_is_overdue_is_the_borrowers_and_the_owners(world, seen):
    assert [loan.equipment_id for loan in seen(SOON, world.larch).overdue] == [world.larch.kit_id]
    assert len(seen(SOON).overdue) == 2


def test_what_is_counted_is_the_callers(world, seen):
    later = session_payload(world.larch, started_at="2026-03-06T10:00:00Z")
    session = created(world.larch.coach.post("/v1/sessions", json=later))["id"]
    created(
        world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, session_id=session))
    )
    counts = [(f.schools, f.teams, f.benches, f.trials) for f in
              (seen(SOON), seen(SOON, world.larch), seen(SOON, world.birch))]  # fmt: skip
    assert counts == [(2, 2, 2, 3), (1, 1, 1, 2), (1, 1, 1, 1)]
