"""Migrations up and down on a populated database, and a schema that agrees with the models."""

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlmodel import SQLModel

from api.migrate import LOCATION, config, downgrade, upgrade
from api.schema import HEAD
from tests.reliability.migrations import FOUND_AGAIN, REVISIONS, contents
from tests.support.makers import World
from tests.support.stored import stored_rows

pytestmark = pytest.mark.on_both


def assert_holds(more, less):
    """Check that another database contains all rows and columns of one."""
    for name, rows in less.items():
        columns = rows[0].keys() if rows else ()
        narrowed = [{column: row[column] for column in columns} for row in more[name]]
        assert sorted(map(str, narrowed)) == sorted(map(str, rows)), name


def test_the_schema_agrees_with_the_models(database_url):
    engine = sa.create_engine(database_url, poolclass=sa.pool.NullPool)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, SQLModel.metadata) == []
        assert context.get_current_revision() == HEAD


def test_every_check_constraint_is_the_models(database_url):
    engine = sa.create_engine(database_url, poolclass=sa.pool.NullPool)
    with engine.connect() as connection:
        looked = sa.inspect(connection)
        stored = {
            (name, check["name"], check["sqltext"])
            for name in SQLModel.metadata.tables
            for check in looked.get_check_constraints(name)
        }
    assert stored == {
        (table.name, str(check.name), str(check.sqltext))
        for table in SQLModel.metadata.tables.values()
        for check in table.constraints
        if isinstance(check, sa.CheckConstraint)
    }


def test_every_step_down_and_up_keeps_what_was_there(database_url, world: World, run):
    world.lead.close()
    before = contents(database_url)
    assert all(before[name] for name in ("trial", "run", "build", "session", "import_batch"))
    for older in REVISIONS[-2::-1]:
        downgrade(database_url, older)
        # What the older schema has no place for is gone; nothing else is.
        migrated = contents(database_url)
        assert_holds(before, migrated)
    for newer in REVISIONS:
        upgrade(database_url, newer)
        assert_holds(contents(database_url), migrated)
    assert set(contents(database_url)) == set(before)
    assert run("rebuild").exit_code == 0  # then results are cached again, as the fixture checks


def test_all_the_way_down_and_up_leaves_an_empty_programme(database_url):
    downgrade(database_url, "base")
    assert contents(database_url) == {}
    upgrade(database_url)
    assert set(contents(database_url)) == set(SQLModel.metadata.tables) - set(FOUND_AGAIN)


def test_a_failure_in_the_middle_leaves_the_old_version(database_url, world: World, monkeypatch):
    before = contents(database_url)
    scripts = ScriptDirectory(str(LOCATION))
    newest = scripts.get_revision(HEAD)

    def half_done() -> None:
        from alembic import op

        op.drop_table("run")
        raise RuntimeError("the power went")

    configuration = config(database_url)
    monkeypatch.setattr(newest.module, "downgrade", half_done)
    monkeypatch.setattr(ScriptDirectory, "from_config", lambda _: scripts)
    with pytest.raises(RuntimeError, match="the power went"):
        command.downgrade(configuration, "-1")
    assert contents(database_url) == before


def test_constraints_have_names_by_convention():
    for table in SQLModel.metadata.tables.values():
        for constraint in table.constraints:
            assert str(constraint.name).startswith(("pk_", "fk_", "uq_", "ck_"))


def due(database_url):
    return [row["season_id"] for row in stored_rows(database_url)["rebuild_due"]]


def test_only_an_older_schema_asks_for_a_rebuild(database_url, world: World, run):
    world.lead.close()
    upgrade(database_url)
    assert due(database_url) == []
    downgrade(database_url, "-1")
    upgrade(database_url)
    assert due(database_url) == [world.season_id]
    assert (
        run("migrate").exit_code == 0
    )  # nothing is left to migrate, and the rebuild is gone on with
    assert due(database_url) == []
