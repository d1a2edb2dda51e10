"""Who computes an answer while others wait for one: the newest, once, for all of them."""

import threading
import time

import pytest

from api.services.cache import Cache

SEASON = "sea_1"


class Asked:
    """Threads that ask a cache for answers, and what was computed for them."""

    def __init__(self):
        self.cache, self.made, self.got = Cache(64), [], {}
        self.go_on, self.threads = threading.Event(), []

    def ask(self, subject, revision, *, waits=False):
        """Ask in a thread of its own; the first computation waits until all others have asked."""

        def make():
            self.made.append((subject, revision))
            if waits:
                assert self.go_on.wait(5)
            return f"{subject} at {revision}"

        def asking():
            self.got[subject, revision] = self.cache.answer(SEASON, subject, revision, make)

        self.threads.append(threading.Thread(target=asking, daemon=True))
        self.threads[-1].start()
        time.sleep(0.02)  # so that they wait in this order

    def end(self):
        self.go_on.set()
        for each in self.threads:
            each.join(5)
            assert not each.is_alive()


@pytest.fixture
def asked():
    return Asked()


def test_of_all_who_wait_the_newest_computes_and_serves_the_others(asked):
    asked.ask("report", 1, waits=True)
    for revision in (2, 4, 3):
        asked.ask("report", revision)
    asked.end()
    assert asked.made == [("report", 1), ("report", 4)]
    assert asked.got["report", 1] == "report at 1"
    assert {asked.got["report", revision] for revision in (2, 3, 4)} == {"report at 4"}


def test_nobody_gets_an_answer_older_than_the_one_asked_for(asked):
    asked.ask("report", 5, waits=True)
    asked.ask("report", 6)
    asked.end()
    assert asked.got["report", 6] == "report at 6"


def test_one_computes_at_a_time_and_subjects_take_turns(asked):
    asked.ask("report", 1, waits=True)
    asked.ask("comparison", 1)
    asked.ask("report", 2)
    assert asked.made == [("report", 1)]
    asked.end()
    assert asked.made == [("report", 1), ("comparison", 1), ("report", 2)]


def test_an_answer_may_rest_on_another_one(asked):
    inner = lambda: asked.cache.answer(SEASON, "fit", 1, lambda: "a fit")  # noqa: E731
    assert asked.cache.answer(SEASON, "report", 1, inner) == "a fit"


def test_a_computation_that_fails_gives_its_turn_away(asked):
    def fails():
        raise ValueError("no trials")

    with pytest.raises(ValueError, match="no trials"):
        asked.cache.answer(SEASON, "report", 1, fails)
    assert asked.cache.answer(SEASON, "report", 1, lambda: "made") == "made"
