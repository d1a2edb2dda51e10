"""An embedded database with a damaged page: the doctor finds it, and says what to do."""

import pytest

from api.embedded import file_of, sqlite_library
from tests.support.makers import World

#: Every so-manieth page is damaged in turn: all of them take a minute.
STRIDE = 9


@pytest.fixture
def undamaged(database_url, world: World):
    """Return the content of an undamaged database and the size of its pages."""
    world.lead.close()
    with sqlite_library.connect(file_of(database_url)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        assert connection.execute("PRAGMA freelist_count").fetchone() == (0,)
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    return file_of(database_url).read_bytes(), size


def doctor_report(content, tmp_path, monkeypatch, run):
    """Run the doctor on a database with this content; return its result."""
    file = tmp_path / "looked-at.db"
    file.write_bytes(content)
    monkeypatch.setenv("GUSTBOOK_DATABASE_URL", f"sqlite:///{file}")
    return run("doctor")


def test_a_whole_one_is_well(undamaged, tmp_path, monkeypatch, run):
    body = doctor_report(undamaged[0], tmp_path, monkeypatch, run)
    assert body.exit_code == 0
    assert "whole: pages, indexes and foreign keys agree" in body.output


def test_every_damaged_page_is_found(undamaged, tmp_path, monkeypatch, run):
    """A page of ones cannot be one (sqlite.org/fileformat2.html, 1.6)."""
    content, size = undamaged
    missed = []
    for page in range(1, len(content) // size, STRIDE):
        at = page * size
        damaged = content[:at] + b"\xff" * size + content[at + size :]
        body = doctor_report(damaged, tmp_path, monkeypatch, run)
        if body.exit_code == 0 or "damaged" not in body.output.lower():
            missed.append(page + 1)
    assert missed == []


def test_a_row_that_points_at_nothing_is_found(database_url, world: World, run):
    world.lead.close()
    with sqlite_library.connect(file_of(database_url)) as connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        connection.execute("DELETE FROM team")
    done = run("doctor")
    assert done.exit_code == 1
    assert "points at nothing" in done.output
