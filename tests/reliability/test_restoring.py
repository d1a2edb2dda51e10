"""Restoring a backup after a crash: old files stay together, whichever step is interrupted."""

import os
import shutil
import sqlite3
from pathlib import Path

import pytest

from api.embedded import COMPANIONS, sqlite_library
from api.services.operations import backups
from api.services.operations.manifests import BackupFailed
from api.services.operations.restoring import restore
from tests.reliability.power_cut import PowerFailure
from tests.support.stored import stored_rows

ROWS = 2000


@pytest.fixture
def backup(database_url, tmp_path, world):
    """Return a backup, and the rows that are in it."""
    world.lead.close()
    folder = tmp_path / "backups"
    manifest = backups.make(database_url, folder, keep=1)
    return folder / manifest.file, stored_rows(database_url)


@pytest.fixture(params=["journal", "wal"])
def crashed(request, tmp_path):
    """Return a database as a crash in the middle of a transaction leaves it, with its journal."""
    working, left = tmp_path / "working", tmp_path / "left"
    working.mkdir()
    left.mkdir()
    mode = "WAL" if request.param == "wal" else "DELETE"
    connection = sqlite_library.connect(working / "programme.db", isolation_level=None)
    connection.execute(f"PRAGMA journal_mode = {mode}")
    connection.execute("PRAGMA cache_size = 5")
    connection.execute("CREATE TABLE old (number INTEGER, words TEXT)")
    connection.execute("BEGIN")
    connection.executemany("INSERT INTO old VALUES (?, 'kept')", [(at,) for at in range(ROWS)])
    connection.execute("COMMIT")
    connection.execute("BEGIN")
    connection.execute("UPDATE old SET words = 'half done ' || number")
    for file in working.iterdir():
        shutil.copy(file, left / file.name)
    connection.close()
    assert (left / f"programme.db-{request.param}").stat().st_size > 10_000
    return left / "programme.db"


def old_words(database):
    """Return the words in the old table after SQLite has recovered it."""
    with sqlite3.connect(database) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return {words for (words,) in connection.execute("SELECT words FROM old")}


def moved_aside(database):
    """Return the only folder next to a database that has its old files."""
    (folder,) = [each for each in database.parent.iterdir() if each.is_dir()]
    return folder


def test_nothing_is_overwritten_without_replace(backup, crashed):
    file, _ = backup
    before = {each.name: each.read_bytes() for each in crashed.parent.iterdir()}
    with pytest.raises(BackupFailed, match=r"programme\.db, programme\.db-.*say --replace"):
        restore(file, f"sqlite:///{crashed}")
    assert {each.name: each.read_bytes() for each in crashed.parent.iterdir()} == before


@pytest.mark.parametrize("ending", COMPANIONS)
def test_nor_where_only_a_journal_is_left(ending, backup, tmp_path):
    file, _ = backup
    (tmp_path / f"gone.db{ending}").write_bytes(b"left by a crash")
    with pytest.raises(BackupFailed, match="say --replace"):
        restore(file, f"sqlite:///{tmp_path}/gone.db")


def test_nor_while_a_service_has_it_open(backup, database_url, app_client):
    file, rows = backup
    with app_client.app.state.database.reading() as db:
        db.connection().exec_driver_sql("SELECT count(*) FROM season").scalar()
        with pytest.raises(BackupFailed, match="stop the service"):
            restore(file, database_url, replace=True)
    assert stored_rows(database_url) == rows


def test_both_are_whole_afterwards(backup, crashed):
    file, rows = backup
    restore(file, f"sqlite:///{crashed}", replace=True)
    assert stored_rows(f"sqlite:///{crashed}") == rows
    assert moved_aside(crashed).name.startswith("programme.db.replaced-")
    assert old_words(moved_aside(crashed) / "programme.db") == {"kept"}


def test_a_damaged_one_is_replaced_too(backup, tmp_path):
    file, rows = backup
    (tmp_path / "damaged.db").write_bytes(b"no database at all" * 1000)
    restore(file, f"sqlite:///{tmp_path}/damaged.db", replace=True)
    assert stored_rows(f"sqlite:///{tmp_path}/damaged.db") == rows


def stopping_at(step, monkeypatch):
    """Let the power fail at the given file operation; return how many there were."""
    seen = []

    def watched(call):
        def operate(*given, **named):
            seen.append(call)
            if len(seen) == step:
                raise PowerFailure
            return call(*given, **named)

        return operate

    for owner, name in ((os, "replace"), (os, "fsync"), (Path, "mkdir"), (Path, "write_bytes")):
        monkeypatch.setattr(owner, name, watched(getattr(owner, name)))
    return seen


def test_broken_off_at_any_step_it_can_be_begun_again(backup, crashed, tmp_path, monkeypatch):
    file, rows = backup
    step, was_broken_off = 0, True
    while was_broken_off:
        step += 1
        place = tmp_path / f"step-{step}"
        shutil.copytree(crashed.parent, place)
        database = place / "programme.db"
        with monkeypatch.context() as patch:
            stopping_at(step, patch)
            try:
                restore(file, f"sqlite:///{database}", replace=True)
                was_broken_off = False
            except PowerFailure:
                pass
        if was_broken_off:
            restore(file, f"sqlite:///{database}", replace=True)
        assert stored_rows(f"sqlite:///{database}") == rows, step
        old = [each / "programme.db" for each in place.iterdir() if each.is_dir()]
        with_old_table = [each for each in old if "old" in stored_rows(f"sqlite:///{each}")]
        assert [old_words(each) for each in with_old_table] == [{"kept"}], step
    assert step > 8
