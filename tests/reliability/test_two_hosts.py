"""Two processes on one server: the short version, and the data that they must share."""

import re
import time

import httpx
from sqlalchemy import create_engine, text

from api.db import open_database
from api.services.core.audit import broken_seals
from tests.reliability.two_hosts import prepare, run, start
from tests.support.cached_results import out_of_date
from tests.support.makers import created


def test_mixed_requests_get_no_wrong_answer(server_database, tmp_path):
    pair = start(tmp_path, server_database)
    try:
        mixture = run(pair, 200, benches=2)
        assert mixture.wrong == {}
        assert mixture.sent >= 200
        engine = create_engine(server_database.replace("postgresql:", "postgresql+psycopg:"))
        with engine.connect() as server:
            stored = "SELECT count(*) FROM published_trials WHERE content IS NOT NULL"
            assert server.scalar(text(stored)) == 2  # others' trials moved on, for both alike
        engine.dispose()
        opened = open_database(server_database, threads=1, busy_timeout_s=20)
        with opened.reading() as db:
            assert out_of_date(db) == []
            assert list(broken_seals(db)) == []
        opened.close()
    finally:
        pair.close()


def left_of_one_minute(pair, key):
    """Return the requests left after each of four, sent to both processes in turn."""
    left, minutes = [], set()
    for at in (0, 1, 0, 1):
        answer = pair.signed(key, at).get("/v1/teams")
        match = re.search(r"r=(\d+);\s*t=(\d+)", answer.headers["ratelimit"])
        left.append(int(match[1]))
        minutes.add(round((time.time() + int(match[2])) / 60))
    return left if len(minutes) == 1 else left_of_one_minute(pair, key)


def test_keys_sessions_and_limits_hold_at_both(server_database, tmp_path):
    pair = start(tmp_path, server_database, GUSTBOOK_REQUESTS_PER_MINUTE="400")
    try:
        key, world = prepare(pair)
        coach = world.larch.coach_key
        # A browser that signed in at one process is known at the other, and ends with its key.
        same = {"Sec-Fetch-Site": "same-origin", "Accept": "text/html"}
        urls = [service.url for service in pair.services]
        signed = httpx.post(f"{urls[0]}/sign-in", data={"key": coach}, headers=same)
        cookie = {"Cookie": signed.headers["set-cookie"].split(";")[0]}
        assert httpx.get(f"{urls[1]}/today", headers=same | cookie).status_code == 200
        # Requests are counted together: what one process took, the other no longer gives.
        left = left_of_one_minute(pair, coach)
        assert left == sorted(left, reverse=True)
        assert len(set(left)) == 4
        # A key that was revoked at one process opens nothing at the other.
        path, tag = f"/v1/keys/{world.larch.key_id}", {"If-Match": '"v1"'}
        revoked = pair.signed(key, 0).patch(path, json={"revoked": True}, headers=tag)
        assert revoked.status_code == 200
        assert pair.signed(coach, 1).get("/v1/teams").status_code == 401
        assert httpx.get(f"{urls[1]}/today", headers=same | cookie).status_code == 303
        # What was changed at one moves the other's report at once.
        season = f"/v1/seasons/{world.season_id}"
        before = pair.signed(key, 1).get(f"{season}/report").json()["revision"]
        team = {"organisation_id": world.birch.organisation_id, "season_id": world.season_id}
        created(pair.signed(key, 0).post("/v1/teams", json=team | {"name": "Third"}))
        after = pair.signed(key, 1).get(f"{season}/report").json()
        assert after["revision"] > before
        assert "Third" in str(after["organisations"])
    finally:
        pair.close()
