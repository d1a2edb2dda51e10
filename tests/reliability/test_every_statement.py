"""A crash at each statement in turn: stored data is safe, and the next attempt succeeds."""

import os
from contextlib import contextmanager

import pytest
from sqlalchemy import Engine, event

from api.embedded import file_of, sqlite_library
from api.migrate import downgrade, upgrade
from api.models.operations.rebuilds import RebuildDue
from api.schema import HEAD, current
from api.services.operations import backups, due_rebuilds, rebuilding
from api.services.operations.manifests import BackupFailed
from api.services.operations.restoring import restore
from tests.reliability.power_cut import PowerFailure
from tests.support.makers import World
from tests.support.stored import stored_rows


@contextmanager
def stopping_at(number):
    """Stop at the given statement of any connection; yields how many there were by now."""
    seen = []

    def count(connection, cursor, statement, *_):
        seen.append(statement)
        if len(seen) == number:
            raise PowerFailure

    event.listen(Engine, "before_cursor_execute", count)
    try:
        yield seen
    finally:
        event.remove(Engine, "before_cursor_execute", count)


def each_statement(work, after):
    """Break `work` off at each of its statements; let `after` look each time. Return how many."""
    for number in range(1, 10_000):
        with stopping_at(number):
            try:
                work()
            except PowerFailure:
                pass
            else:
                return number - 1
        after(number)
    raise AssertionError("it never got through")


@pytest.fixture
def closed(world: World):
    """Return the world with its service stopped."""
    world.lead.close()
    world.lead.app.state.database.close()
    return world


def test_a_migration(closed, database_url):
    downgrade(database_url, "-2")
    older, before = current(database_url), stored_rows(database_url)

    def check_content(number):
        assert current(database_url) == older, number
        assert stored_rows(database_url) == before, number

    assert each_statement(lambda: upgrade(database_url), check_content) > 4
    assert current(database_url) == HEAD
    assert [row["season_id"] for row in stored_rows(database_url)["rebuild_due"]] == [
        closed.season_id
    ]


def test_a_rebuild(world: World, app_client, database_url):
    database = app_client.app.state.database
    with database.unit_of_work() as db:
        db.add(RebuildDue(season_id=world.season_id))

    def still_due(number):
        with database.reading() as db:
            assert due_rebuilds.due_seasons(db) == [world.season_id], number

    assert each_statement(lambda: rebuilding.rebuild_due(database), still_due) > 10


def test_a_backup(closed, database_url, tmp_path):
    folder, rows = tmp_path / "backups", stored_rows(database_url)

    def nothing_half_made(number):
        assert stored_rows(database_url) == rows, number
        assert [each.name for each in folder.iterdir()] == [], number

    manifests = []

    def make():
        manifests.append(backups.make(database_url, folder, keep=1))

    assert each_statement(make, nothing_half_made) > 5
    elsewhere = f"sqlite:///{tmp_path}/restored.db"
    restore(folder / manifests[-1].file, elsewhere)
    assert stored_rows(elsewhere) == rows


def test_what_a_killed_backup_left_goes_after_a_day(closed, database_url, tmp_path):
    folder = tmp_path / "backups"
    folder.mkdir()
    old, young = (folder / f"gustbook-2026010{at}.partial" for at in (1, 2))
    for each in (old, young):
        each.write_bytes(b"half")
    os.utime(old, (1, 1))
    backups.make(database_url, folder, keep=1)
    assert not old.exists()
    assert young.exists()


def test_a_database_that_stays_locked_is_said_in_words(closed, database_url, tmp_path, monkeypatch):
    """As a rollback journal's writer locks it at its commit, for longer than is waited for."""
    monkeypatch.setattr(backups, "PATIENCE_S", 0.2)
    folder = tmp_path / "backups"
    holder = sqlite_library.connect(file_of(database_url), isolation_level=None)
    holder.execute("PRAGMA locking_mode = EXCLUSIVE")
    holder.execute("BEGIN EXCLUSIVE")
    with pytest.raises(BackupFailed, match="locked"):
        backups.make(database_url, folder, keep=1)
    holder.close()
    assert list(folder.iterdir()) == []
