"""The doctor's report, and its warnings."""

import re
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from api.migrate import downgrade
from api.models.core.audit import AuditEntry
from tests.support.makers import created

pytestmark = [pytest.mark.on_both, pytest.mark.usefixtures("programs_of_postgres")]


def lines(done):
    return dict(re.findall(r"^([a-z ]+?)  +(.+)$", done.stdout, re.M))


class TestWrong:
    @pytest.mark.parametrize("words", [("doctor",), ("purge",), ("key", "list"), ("rebuild",)])
    def test_a_database_that_is_not_there_is_said_and_not_made(
        self, words, run, monkeypatch, tmp_path
    ):
        gone = tmp_path / "gone.db"
        monkeypatch.setenv("GUSTBOOK_DATABASE_URL", f"sqlite:///{gone}")
        done = run(*words)
        assert done.exit_code == 2
        assert "there is no database at" in done.stderr
        assert not gone.exists()

    @pytest.mark.parametrize("words", [("purge",), ("key", "list"), ("rebuild",)])
    def test_an_older_schema_is_said_before_anything_is_done(self, words, run, database_url, world):
        downgrade(database_url, "-1")
        done = run(*words)
        assert done.exit_code == 2
        assert "run migrate" in done.stderr

    def test_an_older_schema(self, run, database_url, world):
        downgrade(database_url, "-1")
        done = run("doctor")
        assert done.exit_code == 1
        assert "run migrate" in lines(done)["schema"]

    def test_a_record_that_somebody_changed_past_the_service(self, run, database_url, world):
        engine = sa.create_engine(database_url, poolclass=sa.pool.NullPool)
        with engine.connect() as connection:
            connection.execute(sa.text("UPDATE audit_chain SET seal = 'another'"))
            connection.commit()
        done = run("doctor", "--audit")
        assert done.exit_code == 1
        assert lines(done)["record"] == "BROKEN"

    def test_a_clock_before_the_newest_entry(self, run, world, app_client):
        later = datetime.now(UTC).replace(microsecond=0) + timedelta(hours=2)
        with app_client.app.state.database.unit_of_work() as db:
            fields = {"thing": "team", "thing_id": "x", "action": "created", "key_label": "l"}
            sealed = {"chain": "other", "number": 1, "previous_seal": "", "seal": ""}
            row = AuditEntry(id="aud_later", key_id="k", created_at=later, **fields, **sealed)
            db.add(row)
        assert "was it set back?" in lines(run("doctor"))["clock"]

    def test_a_season_that_was_kept_too_long(self, run, world):
        created(world.lead.post("/v1/seasons", json={
            "name": "Long ago", "starts_on": "2020-02-01", "ends_on": "2020-06-01"}))  # fmt: skip
        assert lines(run("doctor"))["retention"] == "1 seasons kept long enough: see purge"


def test_all_is_well(run, database_url, world):
    assert lines(run("doctor"))["backup"] == "none yet: run backup"
    assert run("backup").exit_code == 0
    done = run("doctor", "--audit")
    assert done.exit_code == 0, done.output
    report = lines(done)
    assert report["schema"] == "newest"
    assert report["record"] == "seals hold"
    assert report["backup"] == "0 h old"
    assert report["retention"] == "nothing is due to go"
    assert report["clock"].endswith("UTC")
    assert ("disk free" in report) == database_url.startswith("sqlite")
    assert "postgresql" in report["database"] or "journal" in report["sqlite"]
