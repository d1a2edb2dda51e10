"""The database settings: journal by version, one writer, complete transactions, one server."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError, OperationalError

from api.db import open_database
from api.embedded import JOURNAL, journal_mode


@pytest.fixture
def database(sqlite_url):
    opened = open_database(sqlite_url, threads=4, busy_timeout_s=1)
    yield opened
    opened.close()


@pytest.mark.parametrize(
    ("version", "expected"),
    # sqlite.org/wal.html: fixed in 3.51.3, back-ported to 3.44.6 and 3.50.7
    [((3, 40, 1), "TRUNCATE"), ((3, 44, 5), "TRUNCATE"), ((3, 44, 6), "WAL"),
     ((3, 45, 0), "TRUNCATE"), ((3, 50, 7), "WAL"), ((3, 51, 2), "TRUNCATE"),
     ((3, 51, 3), "WAL"), ((3, 53, 0), "WAL")],
)  # fmt: skip
def test_a_write_ahead_log_only_where_it_is_safe(version, expected):
    assert journal_mode(version) == expected


def test_pragmas_hold_on_every_connection(database):
    for engine in (database.write_engine, database.read_engine):
        with engine.connect() as connection:
            fields = {
                name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
                for name in ("foreign_keys", "synchronous", "journal_mode", "trusted_schema")
            }
        assert fields == {
            "foreign_keys": 1,
            "synchronous": 2,
            "journal_mode": JOURNAL.lower(),
            "trusted_schema": 0,
        }


def test_a_block_that_fails_leaves_nothing(database):
    insert = "insert into organisation (id, version, created_at, as_typed, name, sharing) values "

    def fail_after_writing() -> None:
        with database.unit_of_work() as db:
            db.execute(text(insert + "('org_1', 1, '2026-01-01', '{}', 'A', 'own')"))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail_after_writing()
    with database.reading() as db:
        assert db.execute(text("select count(*) from organisation")).scalar() == 0


def test_a_child_without_its_parent_is_refused(database):
    with pytest.raises(IntegrityError), database.unit_of_work() as db:
        db.execute(
            text("insert into access_key_organisation (key_id, organisation_id) values ('a', 'b')")
        )


def test_a_failed_block_gives_the_writers_turn_back(database):
    for _ in range(3):
        with pytest.raises(ZeroDivisionError), database.unit_of_work():
            raise ZeroDivisionError
    with database.unit_of_work() as db:
        assert db.execute(text("select 1")).scalar() == 1


def test_a_statement_that_takes_too_long_is_given_up(postgres_url):
    opened = open_database(postgres_url, threads=2, busy_timeout_s=1, statement_timeout_s=0.2)
    try:
        with pytest.raises(OperationalError, match="statement timeout"), opened.reading() as db:
            db.execute(text("SELECT pg_sleep(5)"))
        with opened.reading() as db:  # the connection is good for the next
            assert db.execute(text("SELECT 1")).scalar_one() == 1
    finally:
        opened.close()


@pytest.mark.parametrize(("behind_pooler", "least", "most"), [(False, 1, 9), (True, 0, 0)])
def test_behind_a_pooler_no_statement_is_prepared(postgres_url, behind_pooler, least, most):
    """The next transaction may have a connection that does not know it, or knows another one."""
    opened = open_database(postgres_url, threads=1, busy_timeout_s=5, behind_pooler=behind_pooler)
    try:
        for _ in range(10):  # the driver prepares what it runs often
            with opened.reading() as db:
                db.execute(text("SELECT count(*) FROM season WHERE id = :id"), {"id": "none"})
        with opened.reading() as db:
            prepared = db.scalar(text("SELECT count(*) FROM pg_prepared_statements"))
            plans = db.scalar(text("SHOW plan_cache_mode"))
    finally:
        opened.close()
    assert least <= prepared <= most
    assert plans == ("auto" if behind_pooler else "force_generic_plan")
