"""When several requests need one answer, one of them computes it for all."""

import threading
import time
from contextlib import contextmanager

import pytest

from api.services.core.computing import Asked, SeasonQueue

SEASON = "sea_1"


class Crowd:
    """Threads that ask for answers, and the moments at which they were worked out."""

    def __init__(self):
        self.queue, self.now = SeasonQueue(), 0
        self.rounds, self.got, self.threads = [], {}, []
        self.go_on = threading.Event()

    @contextmanager
    def moment(self):
        self.now += 1
        done = []
        self.rounds.append(done)

        def answer(asked):
            done.append(asked.subject)
            return f"{asked.subject} at {asked.make()}"

        yield answer

    def ask(self, name, subject, *, waits=False, fails=False, stops=False, view=None, last=None):
        """Ask in a thread of its own; the first goes on when all others have asked."""

        def make():
            if waits:
                assert self.go_on.wait(5)
            if fails:
                raise ValueError("no trials")
            if stops:
                raise SystemExit("stopped")
            if last is not None:
                assert last.wait(5)
            return self.now

        asked = Asked(subject, make, view)

        def asking():
            self.queue.wait(SEASON, asked, self.moment)
            try:
                self.got[name] = asked.taken()
            except (ValueError, SystemExit) as error:
                self.got[name] = str(error)

        self.threads.append(threading.Thread(target=asking, daemon=True))
        before = len(self.rounds)
        self.threads[-1].start()
        for _ in range(500):  # until it waits, or works: they wait in this order
            if asked in self.queue._waiting.get(SEASON, ()) or len(self.rounds) > before:
                return
            time.sleep(0.01)
        raise AssertionError(f"{name} does not wait")

    def end(self):
        self.go_on.set()
        for each in self.threads:
            each.join(5)
            assert not each.is_alive()


@pytest.fixture
def crowd():
    return Crowd()


def test_one_works_for_all_who_wait_and_each_subject_once(crowd):
    crowd.ask("first", "report", waits=True)
    for name, subject in (("a", "report"), ("b", "comparison"), ("c", "report")):
        crowd.ask(name, subject)
    crowd.end()
    assert crowd.rounds == [["report"], ["report", "comparison"]]
    assert crowd.got == {"first": "report at 1", "a": "report at 2", "b": "comparison at 2",
                         "c": "report at 2"}  # fmt: skip


def test_nobody_gets_an_answer_of_a_moment_before_asking(crowd):
    """Anyone who asks while a round is under way waits for the next."""
    crowd.ask("first", "report", waits=True)
    crowd.ask("late", "report")
    crowd.end()
    assert crowd.got["late"] == "report at 2"


def test_an_error_reaches_those_who_asked_for_it_and_nobody_else(crowd):
    crowd.ask("first", "report", waits=True)
    crowd.ask("a", "comparison", fails=True)
    crowd.ask("b", "comparison", fails=True)
    crowd.ask("c", "progress")
    crowd.end()
    assert crowd.got == {"first": "report at 1", "a": "no trials", "b": "no trials",
                         "c": "progress at 2"}  # fmt: skip
    assert crowd.rounds[1] == ["comparison", "progress"]


def test_where_no_moment_can_be_opened_nobody_is_left_waiting(crowd):
    crowd.ask("first", "report", waits=True)

    @contextmanager
    def closed():
        raise ValueError("the database is gone")
        yield

    crowd.moment = closed
    crowd.ask("a", "report")
    crowd.ask("b", "progress")
    crowd.end()
    assert crowd.got["a"] == crowd.got["b"] == "the database is gone"


def test_the_next_after_a_failure_gets_its_turn(crowd):
    crowd.ask("first", "report", fails=True)
    crowd.ask("second", "report")
    crowd.end()
    assert crowd.got == {"first": "no trials", "second": "report at 2"}


def test_the_one_that_works_is_known(crowd):
    seen = []
    asked = Asked("report", lambda: seen.append(crowd.queue.is_mine(SEASON)))
    crowd.queue.wait(SEASON, asked, crowd.moment)
    assert seen == [True]
    assert not crowd.queue.is_mine(SEASON)


def test_whose_answer_is_done_goes_while_others_are_worked_on(crowd):
    last = threading.Event()
    crowd.ask("first", "report", waits=True)
    crowd.ask("quick", "comparison")
    crowd.ask("slow", "progress", last=last)
    crowd.go_on.set()
    for _ in range(100):
        if "quick" in crowd.got:
            break
        time.sleep(0.02)
    assert crowd.got.get("quick") == "comparison at 2"
    assert "slow" not in crowd.got
    last.set()
    crowd.end()


def test_one_view_with_many_subjects_lets_another_go_between(crowd):
    crowd.ask("first", "report", waits=True)
    for subject in ("plan", "outlook", "progress"):
        crowd.ask(subject, subject, view="one")
    crowd.ask("other", "comparison", view="two")
    crowd.end()
    assert crowd.rounds[1] == ["plan", "comparison", "outlook", "progress"]


def test_what_ends_a_thread_ends_nobody_elses_answer(crowd):
    crowd.ask("first", "report", waits=True)
    crowd.ask("stopped", "plan", stops=True)
    crowd.ask("second", "comparison")
    crowd.end()
    assert crowd.got["second"] == "comparison at 2"
    assert crowd.got["stopped"] == "stopped"


def test_who_comes_while_another_view_is_worked_on_waits_for_one_subject_alone(crowd):
    crowd.ask("first", "plan", waits=True, view="one")
    for subject in ("outlook", "progress"):
        crowd.ask(subject, subject, view="one")
    crowd.go_on.set()
    for each in crowd.threads:
        each.join(5)
    crowd.go_on.clear()
    crowd.ask("slow", "plan", waits=True, view="one")
    crowd.ask("more", "outlook", view="one")
    crowd.ask("other", "comparison", view="two")
    crowd.end()
    assert crowd.rounds[-1][:2] == ["comparison", "outlook"] or crowd.rounds[-2] == ["comparison"]
    assert set(crowd.got) == {"first", "outlook", "progress", "slow", "more", "other"}
