"""Files are read a few at a time, and one key's many files do not delay another's."""

import anyio
import pytest

from api.concurrency import FILES_AT_ONCE, KeyLimits
from api.services.core.scope import Caller


def caller(name):
    return Caller(f"key_{name}", name, "coach", frozenset({"org_1"}))


def order_of_entry(keys):
    """Return the order in which files of some keys were begun, each ended before the next one."""
    begun = []

    async def read(turns, key, go_on):
        async with turns.reading_file(caller(key)):
            begun.append(key)
            await go_on.wait()

    async def run():
        turns, go_on = KeyLimits(16), anyio.Event()
        async with anyio.create_task_group() as tasks:
            for key in keys:
                tasks.start_soon(read, turns, key, go_on)
                await anyio.wait_all_tasks_blocked()
            inside = len(begun)
            go_on.set()
        return inside

    inside = anyio.run(run)
    return begun, inside


def test_twelve_files_of_one_key_leave_a_place_for_another():
    begun, inside = order_of_entry(["a"] * 12 + ["b"])
    assert begun[:2] == ["a", "b"]
    assert inside == 2


@pytest.mark.parametrize("others", [3, 6])
def test_of_many_keys_only_so_many_are_read_at_once(others):
    _, inside = order_of_entry([f"k{at}" for at in range(others)])
    assert inside == FILES_AT_ONCE


def test_keys_take_turns():
    begun, _ = order_of_entry(["a"] * 5 + ["b"] * 5 + ["c"])
    assert begun.index("c") < 4
