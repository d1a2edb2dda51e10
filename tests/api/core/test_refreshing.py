"""Answers that are made again in the background: once, at a pace, and all of them in the end."""

import threading
import time
from contextlib import contextmanager

import pytest

from api.services.core import refreshing
from api.services.core.computing import Asked, SeasonQueue
from api.services.core.refreshing import Refresher


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    monkeypatch.setattr(refreshing, "LEAST_PAUSE_S", 0.05)


class Made:
    """A moment of the database that notes which answers are made of it."""

    def __init__(self, takes_s=0.0):
        self.subjects, self.moments, self.takes_s = [], 0, takes_s

    @contextmanager
    def __call__(self):
        self.moments += 1

        def answer(asked):
            time.sleep(self.takes_s)
            self.subjects.append(asked.subject)
            return asked.make()

        yield answer


def asked(subject, view=None, make=lambda: 1):
    return Asked(subject, make, view)


def wait_until(holds):
    until = time.monotonic() + 10
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.01)


def test_what_is_asked_for_twice_is_made_once():
    made, refresher = Made(), Refresher(SeasonQueue())
    for _ in range(3):
        refresher.ask("s", asked("report"), made)
    wait_until(lambda: made.subjects)
    time.sleep(0.2)
    assert made.subjects == ["report"]


def test_few_are_made_of_one_moment():
    made, refresher = Made(), Refresher(SeasonQueue())
    for at in range(20):
        refresher.ask("s", asked(at), made)
    wait_until(lambda: len(made.subjects) == 20)
    assert made.moments == 3


def test_a_request_that_waits_goes_first_and_the_others_are_made_after_it():
    queue = SeasonQueue()
    made, own, refresher = Made(takes_s=0.02), Made(), Refresher(queue)
    for at in range(8):
        refresher.ask("s", asked(at, view="others"), made)
    wait_until(lambda: made.subjects)
    waiting = asked("mine", view="mine")
    queue.wait("s", waiting, own)
    assert waiting.taken() == 1
    assert len(made.subjects) < 8
    wait_until(lambda: sorted(made.subjects) == list(range(8)))


def test_writers_do_not_give_way_to_what_nobody_waits_for():
    queue, go_on = SeasonQueue(), threading.Event()
    refresher = Refresher(queue)
    refresher.ask("s", asked("report", make=lambda: go_on.wait(10)), Made())
    wait_until(lambda: queue._working)
    assert not queue.is_working
    go_on.set()


def test_an_answer_that_fails_does_not_end_the_others(caplog):
    made, refresher = Made(), Refresher(SeasonQueue())
    refresher.ask("s", asked("bad", make=lambda: 1 / 0), made)
    refresher.ask("s", asked("good"), made)
    wait_until(lambda: "good" in made.subjects)
    wait_until(lambda: "was not made again" in caplog.text)
    refresher.ask("s", asked("later"), made)
    wait_until(lambda: "later" in made.subjects)


def test_without_a_thread_the_next_request_tries_again(monkeypatch, caplog):
    made, refresher = Made(), Refresher(SeasonQueue())

    def no_thread(self):
        raise RuntimeError("can't start new thread")

    with monkeypatch.context() as patch:
        patch.setattr(threading.Thread, "start", no_thread)
        refresher.ask("s", asked("report"), made)
    assert "not made again now" in caplog.text
    refresher.ask("s", asked("report"), made)
    wait_until(lambda: made.subjects == ["report"])


def test_after_the_end_nothing_is_made():
    made, refresher = Made(), Refresher(SeasonQueue())
    refresher.ask("s", asked("report"), made)
    refresher.stop()
    time.sleep(0.2)
    assert made.subjects == []
