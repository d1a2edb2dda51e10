"""Row-level security on a server: a request writes no row that its key does not reach."""

import pytest
import sqlalchemy as sa
from sqlmodel import SQLModel

from api.models.core.ids import new_id

GUARDED = ("team", "turbine", "build", "bench", "wind_grid", "session", "trial", "inspection")


@pytest.fixture
def database_kind():
    return "postgresql"


@pytest.fixture
def database(app_client):
    return app_client.app.state.database


def copied(db, table, organisation_id):
    """Try to add a row like another school's, under another id and name."""
    rows = SQLModel.metadata.tables[table]
    of_school = sa.select(rows).where(rows.c.organisation_id == organisation_id)
    row = db.execute(of_school).first()._asdict()
    named = {name: f"another {name}" for name in ("name", "client_ref") if name in row}
    numbered = {"number": 99} if "number" in row else {}
    moved = {"started_at": sa.func.now()} if "started_at" in row else {}
    new = row | named | numbered | moved | {"id": new_id(row["id"].split("_")[0])}
    db.execute(rows.insert().values(new))


@pytest.mark.parametrize("table", ["team", "turbine", "build", "bench", "session", "trial"])
def test_no_row_of_another_school_is_added(table, world, database):
    theirs = world.birch.organisation_id
    with (
        pytest.raises(sa.exc.ProgrammingError, match="row-level security"),
        database.unit_of_work({world.larch.organisation_id}) as db,
    ):
        copied(db, table, theirs)
    with database.unit_of_work({theirs}) as db, db.begin_nested() as tried:
        copied(db, table, theirs)
        tried.rollback()  # it could be written, which was to be seen


@pytest.mark.parametrize("table", [each for each in GUARDED if each not in ("trial",)])
def test_no_row_of_another_school_is_changed_or_taken_out(table, world, database):
    rows = SQLModel.metadata.tables[table]
    theirs = rows.c.organisation_id == world.birch.organisation_id
    with database.unit_of_work({world.larch.organisation_id}) as db:
        changed = db.execute(rows.update().where(theirs).values(version=99))
        gone = db.execute(rows.delete().where(theirs))
        assert (changed.rowcount, gone.rowcount) == (0, 0)


def test_who_reaches_no_school_writes_none(world, database):
    rows = SQLModel.metadata.tables["team"]
    with database.unit_of_work(set()) as db:
        assert db.execute(rows.update().values(version=99)).rowcount == 0
    with database.unit_of_work() as db:
        assert db.execute(rows.update().values(version=99)).rowcount == 2


def test_every_guarded_table_is_guarded_against_its_owner_too(database):
    asked = (
        "SELECT relname FROM pg_class WHERE relrowsecurity AND relforcerowsecurity ORDER BY relname"
    )
    with database.reading() as db:
        assert list(db.scalars(sa.text(asked))) == sorted(GUARDED)
        assert db.scalar(sa.text("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")) is (
            False
        )


def test_what_one_request_may_write_does_not_last(world, database):
    """The setting ends with its transaction, also on a connection that is used again."""
    for _ in range(20):
        with database.unit_of_work({world.larch.organisation_id}):
            pass
        with database.unit_of_work() as db:
            rows = SQLModel.metadata.tables["team"]
            assert db.execute(rows.update().values(version=5)).rowcount == 2
