"""Concurrent requests: a report sees one moment, and changes do not block submissions."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from api.services.imports import preparing
from tests.support.makers import World, trial_payload
from tests.support.sheets import send, sheet, three_runs

pytestmark = pytest.mark.on_both


def statuses(works, workers=6):
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(lambda work: work(), works))


def test_reports_see_one_moment_while_trials_arrive(world: World):
    def submit(number):
        asked = trial_payload(world.larch, client_ref=f"m{number}")
        return lambda: world.larch.coach.post("/v1/trials", json=asked).status_code

    def read():
        return world.lead.get(f"/v1/seasons/{world.season_id}/report").status_code

    works = [work for number in range(40) for work in (submit(number), read, read)]
    assert set(statuses(works)) == {201, 200}


def test_changes_and_submissions_do_not_block_each_other(world: World):
    path = f"/v1/sessions/{world.larch.session_id}"

    def change():
        tag = world.larch.coach.get(path).headers["ETag"]
        asked = {"note": "seen"}
        status = world.larch.coach.patch(path, json=asked, headers={"If-Match": tag}).status_code
        return 200 if status == 412 else status  # another change came first: no fault

    def submit(number):
        asked = trial_payload(world.larch, client_ref=f"b{number}")
        return lambda: world.larch.coach.post("/v1/trials", json=asked).status_code

    works = [work for number in range(30) for work in (submit(number), change)]
    assert set(statuses(works)) == {201, 200}


def test_wind_is_measured_while_trials_arrive(world: World):
    points = [{"x_radii": x, "y_radii": y, "wind_speed_m_s": 4.1}
              for x, y in ((0, 0), (0.75, 0), (-0.75, 0), (0, 0.75), (0, -0.75))]  # fmt: skip
    path = f"/v1/benches/{world.larch.bench_id}/wind-grids"

    def measure():
        return world.larch.coach.post(path, json={"points": points}).status_code

    def submit(number):
        asked = trial_payload(world.larch, client_ref=f"g{number}")
        return lambda: world.larch.coach.post("/v1/trials", json=asked).status_code

    works = [work for number in range(15) for work in (submit(number), measure)]
    assert set(statuses(works)) == {201}


def test_files_of_one_new_session_at_once_open_it_once(world: World):
    works = [
        lambda ref=f"f{number}": send(world.larch.coach, sheet(*three_runs(ref))).status_code
        for number in range(6)
    ]
    assert set(statuses(works)) == {201}
    assert len(world.larch.coach.get("/v1/sessions").json()["items"]) == 2


def test_reads_find_a_thread_while_writers_wait(world: World):
    content = sheet(*(row for number in range(60) for row in three_runs(f"w{number}")))

    def write():
        return send(world.larch.coach, content, mode="partial").status_code

    with ThreadPoolExecutor(16) as pool:
        writers = [pool.submit(write) for _ in range(12)]
        assert world.lead.get("/v1/teams").status_code == 200
        unfinished = [writer for writer in writers if not writer.done()]
        assert unfinished  # the read did not have to wait for all of them
        assert {writer.result() for writer in writers} == {201}


def test_a_file_that_takes_long_to_read_makes_no_writer_wait(world: World, monkeypatch):
    started, go_on, read = threading.Event(), threading.Event(), preparing.prepare_file

    def slowly(*about):
        started.set()
        assert go_on.wait(20)
        return read(*about)

    monkeypatch.setattr(preparing, "prepare_file", slowly)
    with ThreadPoolExecutor(1) as pool:
        content = sheet(*three_runs("slow"))
        slow = pool.submit(lambda: send(world.larch.coach, content).status_code)
        assert started.wait(20)
        asked = trial_payload(world.larch, client_ref="meanwhile")
        assert world.larch.coach.post("/v1/trials", json=asked).status_code == 201
        assert not slow.done()
        go_on.set()
        assert slow.result() == 201
