"""Prepared queries return the rows that SQLAlchemy returns for the same query."""

from datetime import UTC, datetime

import pytest
from sqlalchemy import bindparam, func, literal_column, union_all
from sqlalchemy.exc import DBAPIError
from sqlmodel import col, select

from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Run, Trial
from api.prepared import Prepared

pytestmark = pytest.mark.on_both
AGES_AGO, NEXT_AGE = datetime(1990, 1, 1, tzinfo=UTC), datetime(2190, 1, 1, tzinfo=UTC)
IDS = bindparam("ids", expanding=True)


@pytest.fixture
def db(world, app_client):
    with app_client.app.state.database.reading() as db:
        yield db


@pytest.fixture
def ids(db):
    ids = list(db.scalars(select(Trial.id).order_by(col(Trial.id))))
    assert len(ids) >= 2
    return ids


def test_an_error_of_the_database_is_raised_as_by_any_other_statement(db):
    wrong = Prepared(select(literal_column("no_such_column")).select_from(Trial))
    with pytest.raises(DBAPIError, match="no_such_column"):
        wrong.plain(db.connection())


def test_a_value_that_is_left_out_is_an_error(db):
    with pytest.raises(KeyError, match="ids"):
        Prepared(select(Trial.id).where(col(Trial.id).in_(IDS))).plain(db.connection())


@pytest.mark.parametrize("count", [0, 1, 2, 3, 70])
def test_a_list_of_any_length_selects_its_rows_once(db, ids, count):
    asked = [*ids, *(f"trl_none{at}" for at in range(70))][:count]
    query = select(Trial.id, Trial.created_at, Trial.as_typed).where(col(Trial.id).in_(IDS))
    query = query.order_by(col(Trial.id))
    rows = Prepared(query).rows(db.connection(), ids=asked)
    assert rows == [tuple(row) for row in db.execute(query, {"ids": asked})]
    assert [row.id for row in rows] == ids[:count]


def test_values_are_converted_to_those_of_the_database_and_back(db, ids):
    since = select(BenchSession.id, BenchSession.started_at).where(
        col(BenchSession.started_at) >= bindparam("since")
    )
    assert Prepared(since).rows(db.connection(), since=NEXT_AGE) == []
    rows = Prepared(since).rows(db.connection(), since=AGES_AGO)
    assert rows == [tuple(row) for row in db.execute(since, {"since": AGES_AGO})]
    assert all(row.started_at.tzinfo for row in rows)


def test_a_list_that_is_named_twice_and_constants_are_each_in_their_place(db, ids):
    counted = union_all(
        select(func.count()).where(col(Trial.id).in_(IDS)),
        select(func.count()).where(
            col(Trial.id).in_(IDS), col(Trial.id).in_([ids[0], "trl_none"]),
            literal_column("1") == bindparam("one"),
        ),
        select(func.count()).where(col(Run.trial_id) == ids[0], col(Run.number).in_([1])),
    )  # fmt: skip
    rows = Prepared(counted).plain(db.connection(), ids=ids[:2], one=1)
    assert sorted(count for (count,) in rows) == [1, 1, 2]


def test_one_query_serves_lists_of_several_lengths_in_turn(db, ids):
    query = Prepared(select(func.count()).where(col(Trial.id).in_(IDS)))
    counts = [query.plain(db.connection(), ids=ids[:count]) for count in (2, 0, 1, 2)]
    assert counts == [[(2,)], [(0,)], [(1,)], [(2,)]]
