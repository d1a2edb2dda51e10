"""The cost of a request before its key is known, and the memory of bodies together."""

import json

import anyio
import pytest

from api import bodies
from api.bodies import ONE_THING_BYTES, BodyRoom
from api.errors import Busy
from tests.support.makers import World
from tests.support.wrong_keys import wrong


class Receiving:
    """A request's body as a server passes it on, piece by piece; notes how much was asked for."""

    def __init__(self, pieces, *, ends=True):
        self.pieces, self.ends, self.asked_for = list(pieces), ends, 0

    async def __call__(self):
        if not self.pieces:
            await anyio.sleep_forever()
        self.asked_for += 1
        body = self.pieces.pop(0)
        return {
            "type": "http.request",
            "body": body,
            "more_body": bool(self.pieces) or not self.ends,
        }


def status_of(app, method, path, receive, headers):
    """Call the application without a server; return the status of its answer."""
    sent = []

    async def send(message):
        sent.append(message)

    scope = {
        "type": "http", "method": method, "path": path, "raw_path": path.encode(), "root_path": "",
        "query_string": b"", "scheme": "http", "server": ("gustbook.test", 80),
        "client": ("192.0.2.1", 5000), "http_version": "1.1",
        "headers": [(name.lower().encode(), value.encode()) for name, value in headers.items()],
    }  # fmt: skip

    async def call():
        await app(scope, receive, send)

    anyio.run(call)
    return next(each["status"] for each in sent if each["type"] == "http.response.start")


@pytest.mark.parametrize(
    ("method", "path"),
    [("POST", "/v1/trials"), ("POST", "/v1/imports"), ("PATCH", "/v1/teams/team_1"),
     ("POST", "/v1/seasons/import"), ("POST", "/v1/trials/trl_1/runs/1/series")],
)  # fmt: skip
@pytest.mark.parametrize("key", ["", "gust_x", "forged"])
def test_no_byte_of_a_body_is_read_before_its_key_was_looked_up(method, path, key, world: World):
    token = wrong(world.larch.coach_key) if key == "forged" else key
    receive = Receiving([b"[" * 60_000] * 300)
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    assert status_of(world.lead.app, method, path, receive, headers) == 401
    assert receive.asked_for == 0


def test_nor_of_a_form_before_its_session(world: World):
    receive = Receiving([b"a" * 60_000] * 300)
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    assert status_of(world.lead.app, "POST", "/imports", receive, headers) == 401
    assert receive.asked_for == 0


class TestSizes:
    @pytest.mark.parametrize("path", ["teams", "sessions", "organisations", "flags/answers"])
    def test_one_thing_needs_no_large_body(self, path, world: World):
        body = json.dumps({"name": "x" * ONE_THING_BYTES}).encode()
        headers = {"Content-Type": "application/json"}
        answer = world.lead.post(f"/v1/{path}", content=body, headers=headers)
        assert answer.status_code == 413

    def test_nor_does_signing_in(self, app_client):
        same = {"Sec-Fetch-Site": "same-origin", "Accept": "text/html"}
        answer = app_client.post("/sign-in", data={"key": "x" * 20_000}, headers=same)
        assert answer.status_code == 413


class TestRoom:
    def test_one_key_reads_one_large_body_at_a_time(self):
        assert most_together(keys=1, requests=5, byte_count=200_000) == 1

    def test_all_of_them_together_fit_into_memory(self):
        assert most_together(keys=9, requests=9, byte_count=1_000_000) == bodies.LARGEST_TOGETHER

    def test_small_ones_need_no_room(self):
        assert most_together(keys=1, requests=9, byte_count=ONE_THING_BYTES) == 9

    def test_a_request_that_waits_too_long_is_refused_and_frees_its_room(self):
        async def run():
            room = BodyRoom(1_000_000, wait_s=0.05)
            async with room.room("a", 4_000_000):
                with pytest.raises(Busy):
                    async with room.room("b", 1_000_000):
                        pass
            async with room.room("b", 4_000_000):
                return True

        assert anyio.run(run)

    def test_a_body_that_never_arrives_is_given_up(self, world: World, monkeypatch):
        monkeypatch.setattr(bodies, "START_S", 0.05)
        monkeypatch.setattr(bodies, "SLOWEST_BYTES_PER_S", 1e9)
        headers = {
            "Authorization": f"Bearer {world.larch.coach_key}", "Content-Type": "application/json",
            "Content-Length": "50",
        }  # fmt: skip
        stalled = Receiving([b'{"name":'], ends=False)
        assert status_of(world.lead.app, "POST", "/v1/teams", stalled, headers) == 408


def most_together(keys, requests, byte_count):
    """Return the largest number of these requests that held room at the same time."""
    running, most = 0, 0

    async def one(room, key_id):
        nonlocal running, most
        async with room.room(key_id, byte_count):
            running += 1
            most = max(most, running)
            await anyio.sleep(0.01)
            running -= 1

    async def run():
        room = BodyRoom(1_000_000)
        async with anyio.create_task_group() as tasks:
            for at in range(requests):
                tasks.start_soon(one, room, f"key_{at % keys}")

    anyio.run(run)
    return most
