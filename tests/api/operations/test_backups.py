"""Backups are complete while a writer is busy, and restore the same reports."""

import json
import os
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.migrate import downgrade
from api.schema import is_older
from api.services.operations import backups, manifests, restoring
from api.services.operations.manifests import BackupFailed
from tests.support.databases import ROLE, named_database, run_on_postgres
from tests.support.makers import created, trial_payload
from tests.support.stored import stored_rows

pytestmark = [pytest.mark.on_both, pytest.mark.usefixtures("programs_of_postgres")]


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "backups"


@pytest.fixture
def elsewhere(database_kind, tmp_path, request):
    """Return the address of a database that is not there yet, or has no tables."""
    if database_kind == "sqlite":
        yield f"sqlite:///{tmp_path}/restored/programme.db"
        return
    address = request.getfixturevalue("postgres_address")
    name = f"restored_{os.getpid()}"
    run_on_postgres(address, f"CREATE DATABASE {name} OWNER {ROLE}")
    yield named_database(address, name)
    run_on_postgres(address, f"DROP DATABASE {name} WITH (FORCE)")


def file_of(folder, manifest):
    return folder / manifest.file


class TestRefused:
    def test_a_database_that_is_not_there(self, folder, elsewhere, database_kind):
        if database_kind == "sqlite":
            with pytest.raises(BackupFailed, match="there is no database"):
                backups.make(elsewhere, folder, keep=3)
            assert list(folder.iterdir()) == []

    def test_a_file_that_was_changed_since(self, folder, elsewhere, database_url, world):
        manifest = backups.make(database_url, folder, keep=3)
        with file_of(folder, manifest).open("r+b") as opened:
            opened.seek(5000)
            opened.write(b"x")
        with pytest.raises(BackupFailed, match="its digest differs"):
            restoring.restore(file_of(folder, manifest), elsewhere)

    def test_a_backup_without_a_note(self, folder, elsewhere, database_url, world):
        manifest = backups.make(database_url, folder, keep=3)
        file_of(folder, manifest).with_suffix(".json").unlink()
        with pytest.raises(BackupFailed, match=r"its \.json is missing"):
            restoring.restore(file_of(folder, manifest), elsewhere)

    def test_a_place_that_holds_a_programme(self, folder, database_url, world):
        manifest = backups.make(database_url, folder, keep=3)
        with pytest.raises(BackupFailed, match=r"say --replace|into an empty one"):
            restoring.restore(file_of(folder, manifest), database_url)

    def test_a_report_that_is_not_the_one_that_was_backed_up(
        self, folder, elsewhere, database_url, world
    ):
        manifest = backups.make(database_url, folder, keep=3)
        body = file_of(folder, manifest).with_suffix(".json")
        facts = json.loads(body.read_text())
        facts["digests"] = dict.fromkeys(facts["digests"], "0" * 64)
        body.write_text(json.dumps(facts))
        with pytest.raises(BackupFailed, match="reports are not those"):
            restoring.restore(file_of(folder, manifest), elsewhere)


class TestMade:
    def test_it_is_restored_to_the_same_rows_and_reports(
        self, folder, elsewhere, database_url, world
    ):
        manifest = backups.make(database_url, folder, keep=3)
        assert manifest.rows["trial"] == 2
        assert set(manifest.digests) == {world.season_id}
        restoring.restore(file_of(folder, manifest), elsewhere)
        assert stored_rows(elsewhere) == stored_rows(database_url)

    def test_only_the_newest_are_kept(self, folder, database_url, world):
        files = [backups.make(database_url, folder, keep=2).file for _ in range(4)]
        names = sorted(path.name for path in folder.iterdir() if path.suffix != ".json")
        assert names == files[-2:]
        assert manifests.newest(folder).file == files[-1]

    def test_its_age_is_shown(self, folder, database_url, world):
        assert manifests.age_hours(folder, datetime.now(UTC)) is None
        backups.make(database_url, folder, keep=2)
        later = datetime.now(UTC) + timedelta(hours=5)
        assert manifests.age_hours(folder, later) == pytest.approx(5, abs=0.05)

    def test_nothing_half_made_is_left_behind(self, folder, database_url, world, monkeypatch):
        def full(*_):
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(backups, "to_disk", full)
        with pytest.raises(OSError, match="No space left"):
            backups.make(database_url, folder, keep=2)
        assert list(folder.iterdir()) == []

    def test_beside_a_busy_writer_each_is_one_moment(self, folder, elsewhere, database_url, world):
        stop, sent = threading.Event(), []

        def write():
            while not stop.is_set():
                trial = trial_payload(world.larch, client_ref=f"b-{len(sent)}")
                sent.append(created(world.larch.coach.post("/v1/trials", json=trial))["id"])

        writer = threading.Thread(target=write)
        writer.start()
        try:
            manifests = []
            for _ in range(3):
                before = len(sent)
                while len(sent) == before:
                    time.sleep(0.01)
                manifests.append(backups.make(database_url, folder, keep=9))
        finally:
            stop.set()
            writer.join()
        counts = [manifest.rows["trial"] for manifest in manifests]
        assert counts == sorted(counts)
        assert counts[-1] > 2
        # The restore itself refuses what is not the very report of that moment.
        restoring.restore(file_of(folder, manifests[1]), elsewhere)


class TestCommands:
    """The same on the console, as an operator has it."""

    def test_a_backup_is_made_and_tried(self, run, folder, elsewhere, world):
        process = run("backup")
        assert process.exit_code == 0, process.output
        file = process.stdout.strip()
        assert Path(file).parent == folder
        tried = run("restore", file, "--verify", "--into", elsewhere)
        assert tried.exit_code == 0, tried.output
        assert "reports equal" in tried.stderr

    def test_what_cannot_be_made_is_said_in_a_line(self, run, folder, world):
        folder.parent.joinpath("a file").write_text("")
        failed = run("backup", str(folder.parent / "a file"))
        assert failed.exit_code == 1
        assert "no backup was made" in failed.stderr
        assert "Traceback" not in failed.output

    def test_an_older_schema_is_backed_up_before_it_is_changed(
        self, run, folder, database_url, world
    ):
        downgrade(database_url, "0007_event_day")
        done = run("migrate")
        assert done.exit_code == 0, done.output
        backup = manifests.newest(folder)
        assert backup.schema == "0007_event_day"
        assert backup.rows["trial"] == 2
        assert run("migrate").exit_code == 0
        assert len(list(folder.glob("*.json"))) == 1

    def test_without_a_backup_the_schema_stays(self, run, folder, database_url, world):
        downgrade(database_url, "0007_event_day")
        folder.write_text("no folder can be here")
        refused = run("migrate")
        assert refused.exit_code == 1
        assert "the schema stays" in refused.stderr
        assert is_older(database_url)
        assert run("migrate", "--no-backup").exit_code == 0
        assert not is_older(database_url)
