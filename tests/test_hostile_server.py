"""Hostile files and bodies sent to the real service are refused, and it stays alive."""

import gzip

import pytest

from tests.support.hostile_bodies import BODIES
from tests.support.hostile_files import FILES, TOO_LARGE, body_of
from tests.support.hostile_run import Visit, visiting


@pytest.fixture(scope="module")
def visit(tmp_path_factory) -> Visit:
    with visiting(tmp_path_factory.mktemp("hostile")) as started:
        yield started


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.label)
def test_a_file(file, visit):
    answer = visit.send(file.kind, file.make())
    assert answer.status == file.status, answer.text
    assert answer.is_problem == (answer.status >= 400)


@pytest.mark.parametrize("body", BODIES.values(), ids=BODIES)
def test_a_body(body, visit):
    answer = visit.send("application/json", body)
    assert 400 <= answer.status < 500, answer.text
    assert answer.is_problem


def test_a_hundred_megabytes_are_refused_before_they_are_read(visit):
    """Only the length is sent, never the body."""
    answer = visit.announce("text/csv", 100_000_000)
    assert (answer.status, answer.is_problem) == (TOO_LARGE, True)


def test_a_body_without_a_length_is_cut_off(visit):
    answer = visit.send("text/csv", body_of(100))
    assert answer.status == TOO_LARGE


def test_a_packed_body(visit):
    """It is not unpacked: 300 MB of blanks would be."""
    packed = gzip.compress(b" " * 300_000_000)
    answer = visit.send("application/json", packed, {"Content-Encoding": "gzip"})
    assert (answer.status, answer.is_problem) == (400, True)


def test_it_lives_and_has_not_grown(visit):
    """Runs last: after all of the above."""
    assert visit.send("application/json", b'{"trials": []}').status < 500
    assert visit.is_alive()
    assert visit.growth_bytes() < 100e6
