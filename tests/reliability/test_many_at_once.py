"""Short versions of many clients at once, and of backups during writes."""

import pytest

from tests.reliability import backups, clients
from tests.support.databases import ROLE, named_database, run_on_postgres


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request, tmp_path):
    """Return the address of an empty database of each kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path}/walk.db"
        return
    address = request.getfixturevalue("postgres_address")
    request.getfixturevalue("postgres_templates")
    run_on_postgres(address, f"CREATE DATABASE many OWNER {ROLE} TEMPLATE empty")
    yield named_database(address, "many")
    run_on_postgres(address, "DROP DATABASE many WITH (FORCE)")


def test_nothing_is_lost_and_nothing_refused(address, tmp_path):
    rows = clients.run(address, tmp_path, changes=8, trials=12, benches=2)
    assert [row["sent"] for row in rows] == [8, 12]
    assert {row["lost"] for row in rows} == {row["refused"] for row in rows} == {0}


def test_backups_beside_a_writer_are_put_back_to_the_same(address, tmp_path, programs_of_postgres):
    seen = backups.run(address, tmp_path, times=2)
    assert (seen["backups"], seen["equal"], seen["refused"], seen["faults"]) == (2, 2, 0, 0)
    assert seen["imports meanwhile"] > 0
