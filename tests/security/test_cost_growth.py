"""The cost of a refusal grows linearly with its size, and is limited."""

import io
import json
import time

import openpyxl
import pytest

from tests.support.makers import World, trial_payload
from tests.support.unknown_fields import HEADER, trial, unknown_fields

#: Times are measured as the least of some tries, since other work on the machine only adds.
TRIES = 2
#: A linear refusal takes four times as long for four times as much; a quadratic one sixteen times.
MORE, MOST_GROWTH = 4, 9
NOISE_S = 0.05


def least_seconds(work):
    times = []
    for _ in range(TRIES):
        started = time.perf_counter()
        work()
        times.append(time.perf_counter() - started)
    return min(times)


def as_json(body):
    return "application/json", json.dumps(body).encode()


def as_csv(text):
    return "text/csv", text.encode()


#: For each way to be refused: where it is sent, and a body by its size.
WAYS = {
    "unknown fields of a trial": ("/v1/trials", 2_000, lambda n: as_json(unknown_fields(n))),
    "a name of endless length": ("/v1/teams", 20_000, lambda n: as_json({"x" * n: 1})),
    "deep lists": ("/v1/trials", 20_000, lambda n: ("application/json", b"[" * n)),
    "many runs": ("/v1/trials", 5_000, lambda n: as_json(trial() | {"runs": [{"x": 1}] * n})),
    "many samples that are none": (
        "/v1/trials", 20_000,
        lambda n: as_json(trial() | {"runs": [{"series_voltage_v": ["x"] * n}]})),
    "unknown fields of each trial of a batch": (
        "/v1/imports", 500, lambda n: as_json({"trials": [unknown_fields(50)] * n})),
    "trials of a batch that are none": (
        "/v1/imports", 1_200, lambda n: as_json({"trials": [[1]] * n})),
    "a batch of unknown sessions": (
        "/v1/imports", 300,
        lambda n: as_json({"trials": [trial() | {"session_id": f"ses_{at}", "build_id": "b"}
                                      for at in range(n)]})),
    "columns of a file": ("/v1/imports", 5_000, lambda n: as_csv(";".join("x" * n) + "\n1\n")),
    "one endless title": ("/v1/imports", 50_000, lambda n: as_csv("x" * n + "\n1\n")),
    "rows without a team": (
        "/v1/imports", 300, lambda n: as_csv(HEADER + "Lark;1;30;yes;1.2;yes\n" * n)),
    "rows of other teams each": (
        "/v1/imports", 300,
        lambda n: as_csv(HEADER + "".join(f"Lark {at};1;30;yes;1.2;yes\n" for at in range(n)))),
    "cells that are no numbers": (
        "/v1/imports", 300, lambda n: as_csv(HEADER + "Larch one;1;a3;yes;1.l;yes\n" * n)),
    "rows of another length": ("/v1/imports", 1_000, lambda n: as_csv(HEADER + "a;b\n" * n)),
    "a quotation mark that is never closed": (
        "/v1/imports", 20_000, lambda n: as_csv(HEADER + '"' + "a;b\n" * n)),
    "one word": ("/v1/imports", 50_000, lambda n: as_csv("x" * n)),
}  # fmt: skip


@pytest.mark.parametrize(("path", "size", "body"), WAYS.values(), ids=WAYS)
def test_a_refusal_is_linear(path, size, body, world: World):
    seconds = {}
    for count in (size, MORE * size):
        kind, content = body(count)
        headers = {"Content-Type": kind}
        answers = []

        def send(content=content, headers=headers, answers=answers):
            answers.append(world.larch.coach.post(path, content=content, headers=headers))

        seconds[count] = least_seconds(send)
        assert {400 <= answer.status_code < 500 for answer in answers} == {True}
        assert len(answers[0].content) < 2_000_000
    assert seconds[MORE * size] < MOST_GROWTH * (seconds[size] + NOISE_S), seconds
    assert seconds[MORE * size] < 5, seconds


def test_of_a_hundred_thousand_unknown_fields_it_says_so_at_once(world: World):
    asked = trial_payload(world.larch) | unknown_fields(100_000)
    started = time.perf_counter()
    refused = world.larch.coach.post("/v1/trials", json=asked)
    assert refused.status_code in (400, 413, 422)
    assert time.perf_counter() - started < 2


def test_a_few_unknown_fields_are_each_explained(world: World):
    asked = trial_payload(world.larch) | {"lod_ohm": 1}
    del asked["load_ohm"]
    refused = world.larch.coach.post("/v1/trials", json=asked)
    assert refused.status_code == 422
    hints = {fault["code"]: fault.get("hint") for fault in refused.json()["errors"]}
    assert hints["unknown_field"] == "Did you mean load_ohm?"


def test_a_workbook_of_many_wrong_cells(world: World):
    book = openpyxl.Workbook()
    book.active.append(HEADER.strip().split(";"))
    for at in range(1_000):
        book.active.append([f"Lark {at}", 1, "a3", "yes", "1.l", "yes"])
    file = io.BytesIO()
    book.save(file)
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    started = time.perf_counter()
    refused = world.larch.coach.post(
        "/v1/imports", content=file.getvalue(), headers={"Content-Type": kind}
    )
    assert refused.status_code == 422
    assert time.perf_counter() - started < 15
