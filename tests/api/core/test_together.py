"""Trials that arrive together are stored in one transaction, each with its own answer."""

import time
from concurrent.futures import ThreadPoolExecutor

import anyio
import anyio.to_thread
import pytest
from sqlalchemy.exc import OperationalError

from api.concurrency import MOST_TOGETHER, WriteBatcher
from api.deps.trials_together import submissions_of
from api.errors import ApiError, Conflict
from tests.support.makers import World, trial_payload


class Store:
    """Stands for what stores works: notes what came together, and fails where asked to."""

    def __init__(self, fails=()):
        self.fails, self.calls = dict(fails), []

    def __call__(self, works):
        self.calls.append(list(works))
        for work in works:
            if work in self.fails:
                raise self.fails[work]
        return [f"stored {work}" for work in works]


def all_at_once(store, works, go_together=lambda one, other: True, keys=None):
    """Return the outcomes of works that wait together while one writer has the turn."""
    outcomes = {}

    async def scene():
        writers = anyio.Semaphore(1)
        batcher = WriteBatcher(writers, store, go_together)
        turns = {key: anyio.Lock() for key in keys or ["one"]}

        async def send(work, turn):
            try:
                outcomes[work] = await batcher.done(work, turn)
            except (ApiError, OperationalError) as error:
                outcomes[work] = error

        await writers.acquire()
        async with anyio.create_task_group() as tasks:
            for at, work in enumerate(works):
                tasks.start_soon(send, work, list(turns.values())[at % len(turns)])
            await anyio.wait_all_tasks_blocked()
            writers.release()

    anyio.run(scene)
    return outcomes


def test_a_work_that_fails_harms_none_beside_it():
    fault = Conflict("this one is at fault")
    store = Store({"b": fault})
    outcomes = all_at_once(store, "abc")
    assert outcomes == {"a": "stored a", "b": fault, "c": "stored c"}
    assert store.calls == [["a", "b", "c"], ["a"], ["b"], ["c"]]


def test_a_busy_database_is_waited_for_once_more_and_not_by_each():
    busy = OperationalError("", {}, Exception("locked"))
    store = Store({"a": busy})
    assert all_at_once(store, "abc") == dict.fromkeys("abc", busy)
    assert store.calls == [["a", "b", "c"], ["a"]]


def test_a_store_that_forgets_one_leaves_none_waiting():
    outcomes = all_at_once(lambda works: ["stored"][: len(works) % 2], "ab")
    assert outcomes == {"a": "stored", "b": "stored"}  # each alone, after both together failed


def test_a_leader_who_goes_does_its_turn_for_the_others():
    store, outcomes = Store(), {}

    async def scene():
        writers, threads = anyio.Semaphore(1), anyio.to_thread.current_default_thread_limiter()
        batcher, turns = (
            WriteBatcher(writers, store, lambda *_: True),
            (anyio.Lock(), anyio.Lock()),
        )

        async def send(work, turn):
            outcomes[work] = await batcher.done(work, turn)

        for _ in range(taken := int(threads.available_tokens)):
            threads.acquire_on_behalf_of_nowait(object())
        async with anyio.create_task_group() as tasks:
            leader = anyio.CancelScope()

            async def lead():
                with leader:
                    await send("leader", turns[0])

            tasks.start_soon(lead)
            await anyio.wait_all_tasks_blocked()  # its turn has come, and no thread is free
            tasks.start_soon(send, "other", turns[1])
            await anyio.wait_all_tasks_blocked()
            leader.cancel()
            threads.total_tokens += taken
        threads.total_tokens -= taken

    anyio.run(scene)
    assert outcomes == {"other": "stored other"}
    assert store.calls == [["leader"], ["other"]]


def test_what_waits_is_done_in_one_turn():
    store = Store()
    outcomes = all_at_once(store, range(10))
    assert outcomes == {each: f"stored {each}" for each in range(10)}
    assert store.calls == [list(range(10))]


def test_a_crowd_is_served_by_parts():
    store = Store()
    assert len(all_at_once(store, range(MOST_TOGETHER + 5))) == MOST_TOGETHER + 5
    assert [len(works) for works in store.calls] == [MOST_TOGETHER, 5]


def test_what_does_not_go_together_waits_for_its_own_turn():
    store = Store()
    outcomes = all_at_once(store, range(6), lambda one, other: one % 2 == other % 2)
    assert len(outcomes) == 6
    assert store.calls == [[0, 2, 4], [1, 3, 5]]


def test_another_keys_work_waits_for_no_turn_once_it_is_done():
    store = Store()
    outcomes = all_at_once(store, range(6), keys=["one", "other", "third"])
    assert set(outcomes) == set(range(6))
    assert len(store.calls) == 1


def test_who_has_gone_is_not_waited_for():
    store = Store()

    async def scene():
        writers = anyio.Semaphore(1)
        batcher, turn = WriteBatcher(writers, store, lambda *_: True), anyio.Lock()
        await writers.acquire()
        async with anyio.create_task_group() as tasks:
            with anyio.move_on_after(0.01):
                await batcher.done("gone", turn)
            tasks.start_soon(batcher.done, "there", turn)
            await anyio.wait_all_tasks_blocked()
            writers.release()

    anyio.run(scene)
    assert store.calls == [["there"]]


@pytest.mark.on_both
class TestAtTheDoor:
    """Sixteen single trials at once, of two schools, some of them not to be stored."""

    @staticmethod
    def send_all(world, works, *, waiting):
        """Send requests that find no turn until as many trials wait; return the answers."""
        client, writers = world.lead, world.lead.app.state.writers.slots
        slots = writers.value
        for _ in range(slots):
            client.portal.call(writers.acquire)
        with ThreadPoolExecutor(len(works)) as pool:
            sent = [pool.submit(work) for work in works]
            until = time.monotonic() + 20
            while len(submissions_of(client.app)._waiting) < waiting:
                assert time.monotonic() < until
                time.sleep(0.01)
            for _ in range(slots):
                client.portal.call(writers.release)
            return [each.result() for each in sent]

    def test_each_gets_its_own_answer(self, world: World):
        def post(school, number, **more):
            asked = trial_payload(school, client_ref=f"{number}", pitch_deg=number, **more)
            return lambda: school.coach.post("/v1/trials", json=asked)

        works = [post(world.larch, 0, load_connected=False)]
        works += [post(school, number) for number in range(1, 8)
                  for school in (world.larch, world.birch)]  # fmt: skip
        works += [post(world.larch, 8, load_ohm=-1)]
        refused, *answers, refused_too = self.send_all(world, works, waiting=15)
        assert (refused.status_code, refused_too.status_code) == (422, 422)
        for at, answer in enumerate(answers):
            school, stored = (world.larch, world.birch)[at % 2], answer.json()
            assert answer.status_code == 201, answer.text
            assert stored["pitch_deg"] == at // 2 + 1
            assert stored["organisation_id"] == school.organisation_id
            trial = school.coach.get(answer.headers["Location"]).json()
            assert trial["runs"] == stored["runs"]
            assert trial["result"] == stored["result"]
        # Each school's were stored in one transaction, and tell the season as it was then.
        assert len({answer.json()["revision"] for answer in answers}) == 2

    def test_the_record_names_each_sender(self, world: World):
        def post(school, number):
            asked = trial_payload(school, client_ref=f"{number}")
            return lambda: school.coach.post("/v1/trials", json=asked).json()["id"]

        schools = (world.larch, world.birch)
        works = [post(school, number) for number in range(6) for school in schools]
        for at, trial_id in enumerate(self.send_all(world, works, waiting=12)):
            entries = world.lead.get(f"/v1/trials/{trial_id}/history").json()["items"]
            assert [entry["key_id"] for entry in entries] == [schools[at % 2].key_id]

    def test_retries_among_others_are_stored_once(self, world: World):
        def post(number):
            asked = trial_payload(world.larch, client_ref=f"{number % 4}", pitch_deg=number % 4)
            headers = {"Idempotency-Key": f"k{number % 4}"}
            return lambda: world.larch.coach.post("/v1/trials", json=asked, headers=headers)

        answers = self.send_all(world, [post(number) for number in range(16)], waiting=16)
        assert {answer.status_code for answer in answers} == {201}
        assert len({answer.json()["id"] for answer in answers}) == 4
        replayed = [answer.headers.get("Idempotent-Replayed") for answer in answers]
        assert replayed.count("true") == 12

    def test_a_refused_try_may_be_put_right_under_its_key(self, world: World):
        def post(number, **more):
            asked = trial_payload(world.larch, client_ref=f"{number}", **more)
            headers = {"Idempotency-Key": f"k{number}"}
            return lambda: world.larch.coach.post("/v1/trials", json=asked, headers=headers)

        wrong = [post(number, load_connected=number % 2 == 0) for number in range(8)]
        assert [each.status_code for each in self.send_all(world, wrong, waiting=8)] == [
            201,
            422,
        ] * 4
        right = [post(number) for number in range(1, 8, 2)]
        answers = self.send_all(world, right, waiting=4)
        assert [each.status_code for each in answers] == [201] * 4
        assert not any("Idempotent-Replayed" in each.headers for each in answers)
