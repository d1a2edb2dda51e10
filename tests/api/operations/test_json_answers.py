"""Commands whose answer a script may want print it as JSON on standard output, and nothing else."""

import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.db import open_database
from api.migrate import downgrade
from api.schema import HEAD
from api.services.access import keys
from tests.support.makers import World

pytestmark = pytest.mark.usefixtures("programs_of_postgres")


class TestRefusals:
    @pytest.mark.parametrize(
        "words",
        [("key", "list"), ("key", "create", "--role", "lead", "--label", "Lead"), ("backup",),
         ("migrate",), ("doctor",)],
    )  # fmt: skip
    def test_a_refusal_prints_no_json(self, run, monkeypatch, words):
        monkeypatch.setenv("GUSTBOOK_DATABASE_URL", "mysql://x")
        done = run(*words, "--json")
        assert (done.exit_code, done.stdout) == (2, "")
        assert "GUSTBOOK_DATABASE_URL" in done.stderr

    def test_a_key_that_may_not_be_made_prints_no_json(self, run):
        done = run("key", "create", "--role", "pupil", "--label", "Team", "--json")
        assert (done.exit_code, done.stdout) == (2, "")
        assert "role" in done.stderr

    def test_an_older_schema_is_not_well(self, run, database_url, world: World):
        downgrade(database_url, "-1")
        done = run("doctor", "--json")
        diagnosis = json.loads(done.stdout)
        assert (done.exit_code, diagnosis["is_well"]) == (1, False)
        assert {"name": "schema", "text": "not the newest: run migrate"} in diagnosis["lines"]
        run("migrate", "--no-backup")  # the fixture checks results at the newest schema


@pytest.mark.on_both
class TestAnswers:
    def test_a_new_key_is_printed_with_its_id_and_is_listed_without_its_secret(
        self, run, database_url
    ):
        made = json.loads(
            run("key", "create", "--role", "lead", "--label", "Ä lead", "--json").stdout
        )
        secret = made.pop("key")
        assert keys.id_of(secret) == made["id"]
        assert made in json.loads(run("key", "list", "--json").stdout)
        assert secret not in run("key", "list", "--json").output
        _sign_in(database_url, secret)

    def test_a_revoked_key_says_when(self, run):
        made = json.loads(run("key", "create", "--role", "lead", "--label", "A", "--json").stdout)
        assert made["revoked_at"] is None
        run("key", "revoke", made["id"])
        (stored,) = [
            key
            for key in json.loads(run("key", "list", "--json").stdout)
            if key["id"] == made["id"]
        ]
        assert stored["revoked_at"] >= made["created_at"]

    def test_a_backup_is_printed_with_its_path_and_manifest(self, run, world: World):
        backup = json.loads(run("backup", "--json").stdout)
        content = Path(backup["path"]).read_bytes()
        assert backup["sha256"] == hashlib.sha256(content).hexdigest()
        assert backup["size_bytes"] == len(content)
        assert (backup["schema"], set(backup["digests"])) == (HEAD, {world.season_id})

    def test_a_migration_is_printed_with_its_backup_and_schema(
        self, run, database_url, tmp_path, world: World
    ):
        older = json.loads(run("migrate", "--back", "--revision", "-1", "--json").stdout)
        assert (older["is_newest"], older["schema"] == HEAD) == (False, False)
        newest = json.loads(run("migrate", "--json").stdout)
        assert {older.pop("backup"), newest.pop("backup")} == {
            file.name for file in (tmp_path / "backups").iterdir() if file.suffix != ".json"
        }
        assert newest == {"schema": HEAD, "is_newest": True, "seasons_rebuilt": 1}
        again = json.loads(run("migrate", "--json").stdout)
        assert again == newest | {"backup": None, "seasons_rebuilt": 0}


def _sign_in(database_url, secret):
    """Check a secret as a request does; a wrong one raises."""
    database = open_database(database_url, threads=1, busy_timeout_s=20)
    try:
        with database.reading() as db:
            assert keys.caller_with(db, secret, datetime.now(UTC)).role == "lead"
    finally:
        database.close()
