"""On a server, schools of one season store trials without waiting for each other."""

import threading
from contextlib import contextmanager

import pytest

from api.models.registry.seasons import Season
from api.services.core import audit, revisions
from api.services.core.changes import changes_since
from tests.support.makers import World, created, trial_payload

pytestmark = pytest.mark.parametrize("database_kind", ["postgresql"], indirect=True)
#: How long a request is waited for that must not be answered yet, and one that must be. [s]
NOT_YET_S, AT_LAST_S = 0.5, 10


@contextmanager
def other_write(app_client, world: World, school):
    """Hold the turn of a school, as a process does that stores a trial of it."""
    with app_client.app.state.database.unit_of_work() as db:
        revisions.share_seasons(db)
        revisions.lock_schools(db, {world.season_id}, {school.organisation_id})
        yield db


def sent(school, **changed):
    """Send a trial of a school in a thread; return the thread and what it will have got."""
    answers = []

    def send():
        answers.append(school.coach.post("/v1/trials", json=trial_payload(school, **changed)))

    thread = threading.Thread(target=send)
    thread.start()
    return thread, answers


def test_a_trial_waits_for_another_of_its_school(world: World, app_client):
    with other_write(app_client, world, world.larch):
        thread, answers = sent(world.larch)
        thread.join(NOT_YET_S)
        assert not answers
    thread.join(AT_LAST_S)
    assert answers[0].status_code == 201


def test_a_visitors_trial_waits_for_its_host(world: World, app_client):
    visit = trial_payload(world.birch, session_id=world.larch.session_id, kind="visit")
    with other_write(app_client, world, world.larch):
        lead = world.lead
        thread = threading.Thread(target=lambda: created(lead.post("/v1/trials", json=visit)))
        thread.start()
        thread.join(NOT_YET_S)
        assert thread.is_alive()
    thread.join(AT_LAST_S)
    assert not thread.is_alive()


def test_a_change_of_other_facts_waits_for_all_schools(world: World, app_client):
    path = f"/v1/seasons/{world.season_id}"
    version = {"If-Match": world.lead.get(path).headers["etag"]}
    answers = []

    def rename():
        answers.append(world.lead.patch(path, json={"name": "Renamed"}, headers=version))

    with other_write(app_client, world, world.larch):
        thread = threading.Thread(target=rename)
        thread.start()
        thread.join(NOT_YET_S)
        assert not answers
    thread.join(AT_LAST_S)
    assert answers[0].status_code == 200


def test_a_trial_of_a_sweep_waits_for_all_schools(world: World, app_client):
    """It changes the exponent of its build, and with enough sweeps those of all others."""
    with other_write(app_client, world, world.birch):
        thread, answers = sent(world.larch, kind="wind")
        thread.join(NOT_YET_S)
        assert not answers
    thread.join(AT_LAST_S)
    assert answers[0].status_code == 201


def test_two_who_need_a_season_alone_do_not_wait_for_each_other(world: World, app_client):
    with (
        other_write(app_client, world, world.larch),
        other_write(app_client, world, world.birch) as db,
        pytest.raises(revisions.SeasonIsShared),
    ):
        revisions.lock_whole(db, world.season_id)


def test_who_shares_a_season_with_nobody_has_it_alone(world: World, app_client):
    with other_write(app_client, world, world.larch) as db:
        revisions.lock_whole(db, world.season_id)


def test_trials_of_two_schools_do_not_wait_for_each_other(world: World, app_client):
    with other_write(app_client, world, world.larch):
        thread, answers = sent(world.birch)
        thread.join(AT_LAST_S)
        assert answers[0].status_code == 201


def test_revisions_and_seals_have_one_order(world: World, app_client):
    database = app_client.app.state.database
    with database.reading() as db:
        before = db.get_one(Season, world.season_id).revision
    threads = [sent(school, client_ref=f"{school.team_id}-{at}")[0]
               for at in range(10) for school in (world.larch, world.birch)]  # fmt: skip
    for thread in threads:
        thread.join(AT_LAST_S)
    with database.reading() as db:
        season = db.get_one(Season, world.season_id)
        changes = changes_since(db, season, before)
        assert season.revision == before + 20
        assert sum(change.revision - change.before for change in changes) == 20
        assert list(audit.broken_seals(db)) == []
