"""A write lets answers in progress finish first, for a limited time."""

import time

import anyio
import pytest

from api import concurrency
from api.concurrency import GIVE_WAY_S, WriteTurns


def waited(is_computing) -> float:
    async def write() -> float:
        began = time.monotonic()
        async with WriteTurns(1, is_computing):
            return time.monotonic() - began

    return anyio.run(write)


def test_nobody_is_waited_for_where_nothing_is_computed():
    assert waited(lambda: False) < GIVE_WAY_S / 2


def test_an_answer_in_progress_goes_first():
    asked = []

    def is_computing() -> bool:
        asked.append(1)
        return len(asked) < 5

    waited(is_computing)
    assert len(asked) == 5


def test_answers_without_end_hold_up_no_write_for_long():
    assert GIVE_WAY_S <= waited(lambda: True) < 3 * GIVE_WAY_S


def test_a_sender_who_has_gone_leaves_the_turn_to_the_next(monkeypatch):
    monkeypatch.setattr(concurrency, "GIVE_WAY_S", 5.0)
    computing = [True]

    async def two() -> float:
        writers = WriteTurns(1, lambda: computing[0])

        async def write() -> None:
            async with writers:
                pytest.fail("it was given up while it waited")

        with anyio.move_on_after(0.05):
            await write()
        computing[0] = False
        began = time.monotonic()
        async with writers:
            return time.monotonic() - began

    assert anyio.run(two) < 0.5
