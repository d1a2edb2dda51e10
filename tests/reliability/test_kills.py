"""The short version of the kills, for every check."""

import pytest

from tests.reliability.kills import run
from tests.support.databases import ROLE, named_database, run_on_postgres


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_imports_survive_kills_whole_and_once(kind, tmp_path, request):
    url = None
    if kind == "postgresql":
        address = request.getfixturevalue("postgres_address")
        request.getfixturevalue("postgres_templates")
        run_on_postgres(address, f"CREATE DATABASE killed OWNER {ROLE} TEMPLATE empty")
        url = named_database(address, "killed")
    counts = run(kills=2, imports=24, rows=20, database_url=url, folder=tmp_path)
    assert counts.kills == 2
    assert counts.acknowledged == 24
    assert counts.attempts > 24
    assert counts.is_clean, counts
