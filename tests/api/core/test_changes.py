"""What recent writes changed: revisions without gaps, by whom, of which schools and benches."""

import time

import pytest
from sqlalchemy import create_engine
from sqlmodel import select

from api.models.core.changes import SeasonChange
from api.models.registry.seasons import Season
from api.services.core import changes as module
from api.services.core import revisions
from api.services.core.changes import (
    Change,
    ChangeLog,
    changes_since,
    facts_revision,
    forget_changes,
    log_of,
)
from tests.support.makers import World, bench_payload, created, session_payload, trial_payload

FROM_NOTHING = {"keys": frozenset(), "only_trials": True, "organisations": None,
                "benches": None, "at_s": 0.0}  # fmt: skip


def change(before, revision, **facts):
    return Change(before, revision, **FROM_NOTHING | facts)


def season_of(client, world):
    with client.app.state.database.reading() as db:
        return db.get_one(Season, world.season_id)


def changes_of(client, world, older):
    """Return the changes of the world's season since a revision, as a new reader learns them."""
    with client.app.state.database.reading() as db:
        return changes_since(db, db.get_one(Season, world.season_id), older)


def store_trial(world):
    created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch)))


class TestBetween:
    def test_a_gap_is_not_known(self):
        log = ChangeLog()
        log.add("s", change(1, 2))
        log.add("s", change(3, 4))
        assert log.between("s", 1, 4) is None
        assert log.between("s", 2, 4) is None
        assert log.between("other", 1, 2) is None

    def test_what_was_before_or_comes_later_does_not_matter(self):
        log = ChangeLog()
        for at in (3, 1, 2, 4):
            log.add("s", change(at, at + 1))
        assert [each.revision for each in log.between("s", 2, 4)] == [3, 4]

    def test_one_write_may_raise_a_revision_more_than_once(self):
        log = ChangeLog()
        log.add("s", change(1, 4))
        assert len(log.between("s", 1, 4)) == 1
        assert log.between("s", 2, 4) is None

    def test_nothing_happened(self):
        assert ChangeLog().between("s", 7, 7) == []

    def test_each_database_has_its_own(self):
        one, other = (create_engine(f"sqlite:///{name}.db") for name in ("one", "other"))
        assert log_of(one) is log_of(create_engine("sqlite:///one.db"))
        assert log_of(one) is not log_of(other)


@pytest.mark.on_both
class TestOfWrites:
    @pytest.fixture
    def changes(self, world: World, app_client):
        """Return a function that gives the changes of the world's season since the last call."""
        seen = [season_of(app_client, world).revision]

        def since():
            older, seen[0] = seen[0], season_of(app_client, world).revision
            return changes_of(app_client, world, older)

        return since

    def test_a_trial_is_of_its_school_its_bench_and_its_key(self, world: World, changes):
        created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch)))
        (one,) = changes()
        assert one.keys == {world.larch.key_id}
        assert one.organisations == {world.larch.organisation_id}
        assert one.benches == {world.larch.bench_id}
        assert one.only_trials

    def test_a_correction_a_withdrawal_and_a_confirmation_touch_the_bench(
        self, world: World, changes
    ):
        path = f"/v1/trials/{world.larch.trial_id}"
        for action, body in (
            ("corrections", {"reason": "typed wrong", "changes": {"load_ohm": 29.0}}),
            ("confirm", {"reason": "seen twice"}),
            ("withdraw", {"reason": "loose"}),
            ("reinstate", {"reason": "tight again"}),
        ):
            answer = world.larch.coach.post(f"{path}/{action}", json=body)
            assert answer.status_code in (200, 201), answer.text
            (one,) = changes()
            assert one.benches == {world.larch.bench_id}, action

    def test_a_trial_that_moves_touches_both_benches(self, world: World, changes):
        coach = world.larch.coach
        gym = created(coach.post("/v1/benches", json=bench_payload(world.larch)))["id"]
        asked = session_payload(world.larch, bench_id=gym, started_at="2026-03-12T14:30:00Z")
        session_id = created(coach.post("/v1/sessions", json=asked))["id"]
        changes()
        body = {"reason": "wrong bench", "changes": {"session_id": session_id}}
        created(coach.post(f"/v1/trials/{world.larch.trial_id}/corrections", json=body))
        (one,) = changes()
        assert one.benches == {world.larch.bench_id, gym}

    def test_a_visitors_last_trial_that_is_withdrawn_is_the_hosts_matter_too(
        self, world: World, changes
    ):
        coach = world.larch.coach
        gym = created(coach.post("/v1/benches", json=bench_payload(world.larch)))["id"]
        asked = session_payload(world.larch, bench_id=gym, started_at="2026-03-12T14:30:00Z")
        session_id = created(coach.post("/v1/sessions", json=asked))["id"]
        visit = trial_payload(world.birch, session_id=session_id, kind="visit")
        trial = created(world.lead.post("/v1/trials", json=visit))
        changes()
        path, body = f"/v1/trials/{trial['id']}/withdraw", {"reason": "loose"}
        assert world.birch.coach.post(path, json=body).status_code == 200
        (one,) = changes()
        assert one.organisations == {world.larch.organisation_id, world.birch.organisation_id}

    def test_a_new_session_touches_no_trial(self, world: World, changes):
        asked = session_payload(world.larch, started_at="2026-03-12T14:30:00Z")
        created(world.larch.coach.post("/v1/sessions", json=asked))
        (one,) = changes()
        assert (one.benches, one.organisations) == (frozenset(), {world.larch.organisation_id})

    def test_other_facts_may_concern_any_trial(self, world: World, changes):
        facts, version = {"altitude_m": 600}, {"If-Match": '"v1"'}
        path = f"/v1/organisations/{world.larch.organisation_id}"
        assert world.lead.patch(path, json=facts, headers=version).status_code == 200
        (one,) = changes()
        assert (one.only_trials, one.benches) == (False, None)
        assert one.organisations == {world.larch.organisation_id}

    def test_facts_of_the_programme_concern_everybody(self, world: World, changes):
        facts = {"reference_wind_speed_m_s": 4.1}
        path = f"/v1/seasons/{world.season_id}"
        version = {"If-Match": world.lead.get(path).headers["etag"]}
        assert world.lead.patch(path, json=facts, headers=version).status_code == 200
        (one,) = changes()
        assert one.organisations is None

    def test_a_tried_import_is_no_change_and_a_stored_one_is(self, world: World, changes):
        body = {"trials": [trial_payload(world.larch, client_ref="im-1")]}
        for query in ("?dry_run=true", ""):
            answer = world.larch.coach.post(f"/v1/imports{query}", json=body)
            assert answer.status_code in (200, 201), answer.text
            found = changes()
            assert found is not None
            assert [each.benches for each in found] == (
                [] if query else [frozenset({world.larch.bench_id})]
            )

    def test_a_refused_write_is_no_change(self, world: World, changes):
        body = {"reason": "typed wrong", "changes": {"load_ohm": -1}}
        path = f"/v1/trials/{world.larch.trial_id}/corrections"
        assert world.larch.coach.post(path, json=body).status_code == 422
        assert changes() == []


@pytest.mark.parametrize("database_kind", ["postgresql"], indirect=True)
class TestOfOtherProcesses:
    """A process that knows nothing yet reads from a server what others changed."""

    def test_what_was_stored_before_the_first_stored_change_is_not_known(self, world, app_client):
        older = season_of(app_client, world).revision
        assert changes_of(app_client, world, older - 500) is None

    def test_a_write_of_which_a_part_was_undone_is_not_known(self, world: World, app_client):
        older = season_of(app_client, world).revision
        with app_client.app.state.database.unit_of_work() as db:
            revisions.raise_season(db, world.season_id, only_trials=True)
            with db.begin_nested() as part:
                part.rollback()
        assert changes_of(app_client, world, older) is None

    def test_a_change_is_the_same_to_a_process_that_knew_nothing(self, world: World, app_client):
        older = season_of(app_client, world).revision
        store_trial(world)
        facts, version = {"altitude_m": 600}, {"If-Match": '"v1"'}
        path = f"/v1/organisations/{world.larch.organisation_id}"
        assert world.lead.patch(path, json=facts, headers=version).status_code == 200
        forget_changes()
        one, other = changes_of(app_client, world, older)
        assert (one.keys, one.organisations, one.benches, one.only_trials) == (
            {world.larch.key_id}, {world.larch.organisation_id}, {world.larch.bench_id}, True,
        )  # fmt: skip
        assert (other.organisations, other.benches, other.only_trials) == (
            {world.larch.organisation_id}, None, False,
        )  # fmt: skip
        assert abs(one.at_s - time.monotonic()) < 60

    def test_what_changed_after_a_snapshot_is_no_change_of_it(self, world: World, app_client):
        with app_client.app.state.database.reading() as db:
            season = db.get_one(Season, world.season_id)
            store_trial(world)
            assert changes_since(db, season, season.revision) == []
        assert len(changes_of(app_client, world, season.revision)) == 1

    def test_only_trials_changed_since_the_last_other_fact(self, world: World, app_client):
        path = f"/v1/seasons/{world.season_id}"
        version = {"If-Match": world.lead.get(path).headers["etag"]}
        assert world.lead.patch(path, json={"name": "Renamed"}, headers=version).status_code == 200
        since = season_of(app_client, world).revision
        store_trial(world)
        forget_changes()
        with app_client.app.state.database.reading() as db:
            assert facts_revision(db, db.get_one(Season, world.season_id)) == since

    def test_only_so_many_are_stored(self, world: World, app_client, monkeypatch):
        monkeypatch.setattr(module, "MOST_REMEMBERED", 3)
        monkeypatch.setattr(module, "TRIMMED_EVERY", 1)
        for _ in range(5):
            store_trial(world)
        with app_client.app.state.database.reading() as db:
            assert len(db.scalars(select(SeasonChange)).all()) == 3

    def test_an_erasure_leaves_none_of_a_school(self, world: World, app_client, run):
        store_trial(world)
        school = world.larch.organisation_id
        assert run("purge", "--organisation", school, "--yes").exit_code == 0
        with app_client.app.state.database.reading() as db:
            assert school not in str(db.scalars(select(SeasonChange)).all())
