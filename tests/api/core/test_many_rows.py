"""Inserting many rows: all values arrive unchanged, streamed or not, in one transaction or none."""

from datetime import UTC, datetime

import pytest
from sqlalchemy.exc import IntegrityError
from sqlmodel import SQLModel, col, select

from api import many_rows
from api.models.trials.trials import Run, Trial

RUNS = SQLModel.metadata.tables["run"]
ODD_VOLTS = (1.2, -0.0, 1e-7, None)

pytestmark = pytest.mark.on_both


@pytest.fixture
def database(world, app_client):
    return app_client.app.state.database


@pytest.fixture
def trial_id(database):
    with database.reading() as db:
        return db.scalars(select(Trial.id)).first()


def rows(trial_id, count, first=1000):
    """Return runs whose values a stream could take for something else."""
    return [
        {
            "trial_id": trial_id,
            "number": first + at,
            "voltage_v": ODD_VOLTS[at % 4],
            "series_voltage_v": [1.0, 2.5] if at % 3 == 0 else None,
            "as_typed": {"voltage_v": {"unit": "m\tV\\N"}} if at % 2 else {},
        }
        for at in range(count)
    ]


def stored(database, first=1000):
    with database.reading() as db:
        mine = select(Run).where(col(Run.number) >= first).order_by(col(Run.number))
        return [
            (each.number, each.voltage_v, each.series_voltage_v, each.as_typed)
            for each in db.scalars(mine)
        ]


@pytest.mark.parametrize("count", [3, many_rows.STREAM_FROM, many_rows.STREAM_FROM + 7])
def test_every_value_arrives_as_it_is(count, database, trial_id, monkeypatch):
    monkeypatch.setattr(many_rows, "STREAMED", 400)
    sent = rows(trial_id, count)
    with database.unit_of_work() as db:
        many_rows.insert_rows(db.connection(), RUNS, sent)
    assert stored(database) == [
        (each["number"], each["voltage_v"], each["series_voltage_v"], each["as_typed"])
        for each in sent
    ]
    take_out(database)


def test_twice_in_one_transaction_and_after_a_step_back(database, trial_id):
    with database.unit_of_work() as db:
        tried = db.begin_nested()
        many_rows.insert_rows(db.connection(), RUNS, rows(trial_id, many_rows.STREAM_FROM))
        tried.rollback()
        many_rows.insert_rows(db.connection(), RUNS, rows(trial_id, many_rows.STREAM_FROM))
        many_rows.insert_rows(
            db.connection(), RUNS, rows(trial_id, many_rows.STREAM_FROM, first=5000)
        )
    assert len(stored(database)) == 2 * many_rows.STREAM_FROM
    take_out(database)


def test_a_row_that_is_there_stores_none(database, trial_id):
    sent = rows(trial_id, many_rows.STREAM_FROM)
    with pytest.raises(IntegrityError), database.unit_of_work() as db:
        many_rows.insert_rows(db.connection(), RUNS, [*sent, sent[0]])
    assert stored(database) == []


def test_a_role_without_tables_of_its_own_stores_row_by_row(database, trial_id, monkeypatch):
    monkeypatch.setattr(many_rows, "_may_stream", lambda connection: False)
    monkeypatch.setattr(many_rows, "_stream", None)
    with database.unit_of_work() as db:
        many_rows.insert_rows(db.connection(), RUNS, rows(trial_id, many_rows.STREAM_FROM))
    assert len(stored(database)) == many_rows.STREAM_FROM
    take_out(database)


def test_rows_name_the_same_columns(database, trial_id):
    one, other = rows(trial_id, 2)
    del other["as_typed"]
    with pytest.raises(ValueError, match="the same columns"), database.unit_of_work() as db:
        many_rows.insert_rows(db.connection(), RUNS, [one, other])


def take_out(database):
    """Leave the trial with the runs that its kept result is of."""
    with database.unit_of_work() as db:
        db.connection().execute(RUNS.delete().where(RUNS.c.number >= 1000))


def test_the_moments_of_a_stream_are_those_that_were_put(database, world):
    now = datetime(2026, 3, 5, 14, 30, 1, 250_000, tzinfo=UTC)
    table = SQLModel.metadata.tables["season"]
    facts = {"starts_on": now.date(), "ends_on": now.date(), "created_at": now, "revision": 1}
    with database.reading() as db:
        stored = dict(db.connection().execute(select(table)).mappings().first())
    sent = [
        stored | facts | {"id": f"sea_{at}", "name": f"S{at}"}
        for at in range(many_rows.STREAM_FROM)
    ]
    with database.unit_of_work() as db:
        many_rows.insert_rows(db.connection(), table, sent)
    with database.reading() as db:
        named = select(table.c.created_at).where(table.c.id == "sea_17")
        assert db.connection().scalar(named) == now
