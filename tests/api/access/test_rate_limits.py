"""Rate limits and guesses: refused in time, shown in headers, without locking others out."""

import pytest
from fastapi.testclient import TestClient

from api.errors import TooMany
from api.services.access.rate_limits import (
    DAY,
    GUESSING,
    MINUTE,
    MOST_GUESSES,
    MOST_WINDOWS,
    InDatabase,
    InMemory,
    Limits,
)
from tests.support.databases import ADDRESS
from tests.support.makers import trial_payload
from tests.support.wrong_keys import wrong

DAILY = {"keys": 2, "links": 1, "imports": 1}


class Clock:
    """A clock that a test turns."""

    def __init__(self):
        self.now = 1_700_000_100.0  # a minute's and a quarter of an hour's beginning

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def counter(app_client, database_kind):
    if database_kind == "sqlite":
        return InMemory()
    return InDatabase(app_client.app.state.database.write_engine)


def from_network(app_client, key, address):
    """Return a client that comes from an address and sends a key."""
    client = TestClient(
        app_client.app, base_url=ADDRESS, headers={"Authorization": f"Bearer {key}"},
        client=(address, 50000), raise_server_exceptions=False,
    )  # fmt: skip
    client.portal = app_client.portal
    return client


@pytest.mark.on_both
class TestCounting:
    def test_requests_of_a_minute_are_counted_down_and_then_refused(self, counter, clock):
        limits = Limits(counter, 3, DAILY, clock)
        assert [limits.take("key_a").remaining for _ in range(3)] == [2, 1, 0]
        with pytest.raises(TooMany) as refused:
            limits.take("key_a")
        assert refused.value.headers["Retry-After"] == "60"
        assert refused.value.headers["RateLimit"] == '"key";r=0;t=60'
        assert limits.take("key_b").remaining == 2

    def test_the_next_minute_is_another(self, counter, clock):
        limits = Limits(counter, 1, DAILY, clock)
        limits.take("key_a")
        clock.now += MINUTE - 1
        with pytest.raises(TooMany) as refused:
            limits.take("key_a")
        assert refused.value.headers["Retry-After"] == "1"
        clock.now += 1
        assert limits.take("key_a").remaining == 0

    def test_guesses_of_one_network_stop_and_other_networks_go_on(self, counter, clock):
        limits = Limits(counter, 9, DAILY, clock)
        for _ in range(MOST_GUESSES):
            limits.note_guess("key_a", "192.0.2.0/24")
        with pytest.raises(TooMany):
            limits.note_guess("key_a", "192.0.2.0/24")
        limits.note_guess("key_a", "198.51.100.0/24")
        limits.note_guess("key_b", "192.0.2.0/24")
        clock.now += GUESSING
        limits.note_guess("key_a", "192.0.2.0/24")

    def test_a_network_that_guesses_at_many_keys_stops_too(self, counter, clock, monkeypatch):
        monkeypatch.setattr("api.services.access.rate_limits.MOST_GUESSES_OF_NETWORK", 30)
        limits = Limits(counter, 9, DAILY, clock)
        for at in range(30):
            limits.note_guess(f"key_{at}", "192.0.2.0/24")
        with pytest.raises(TooMany):
            limits.note_guess("key_new", "192.0.2.0/24")
        limits.note_guess("key_new", "198.51.100.0/24")

    def test_some_things_only_so_often_a_day(self, counter, clock):
        limits = Limits(counter, 9, DAILY, clock)
        for _ in range(2):
            limits.take_today("keys", "key_a")
        with pytest.raises(TooMany, match="2 keys a day") as refused:
            limits.take_today("keys", "key_a")
        assert 0 < int(refused.value.headers["Retry-After"]) <= DAY
        limits.take_today("links", "key_a")
        limits.take_today("keys", "key_b")
        clock.now += DAY
        limits.take_today("keys", "key_a")


def test_a_flood_of_names_forgets_only_what_is_over(clock):
    counter = InMemory()
    counter.add("guess", GUESSING, clock.now)
    for at in range(MOST_WINDOWS + 5):
        counter.add(f"key {at}", MINUTE, clock.now + (MINUTE if at > MOST_WINDOWS else 0))
    assert counter.add("guess", GUESSING, clock.now + MINUTE) == 2
    assert counter.add("key 1", MINUTE, clock.now) == 1
    assert len(counter._counts) < 10


@pytest.mark.parametrize("database_kind", ["postgresql"], indirect=True)
class TestSeveralProcesses:
    @pytest.fixture
    def processes(self, app_client):
        engine = app_client.app.state.database.write_engine
        return InDatabase(engine), InDatabase(engine)

    def test_requests_of_all_are_known_after_a_second(self, processes, clock):
        one, other = processes
        assert [one.add_soon("a", MINUTE, clock.now) for _ in range(3)] == [1, 2, 3]
        assert other.add_soon("a", MINUTE, clock.now) == 2  # two of the first are not written yet
        clock.now += 1.5
        assert one.add_soon("a", MINUTE, clock.now) == 5
        assert other.add_soon("a", MINUTE, clock.now) == 6

    def test_a_name_that_is_not_among_the_last_written_keeps_its_count(self, processes, clock):
        one, _ = processes
        for _ in range(3):
            one.add_soon("a", MINUTE, clock.now)
        clock.now += 1.5
        one.add_soon("b", MINUTE, clock.now)
        clock.now += 1.5
        one.add_soon("b", MINUTE, clock.now)
        assert one.add_soon("a", MINUTE, clock.now) == 4

    def test_guesses_of_all_are_known_at_once(self, processes, clock):
        one, other = processes
        assert [each.add("g", GUESSING, clock.now) for each in (one, other, one)] == [1, 2, 3]

    def test_what_was_counted_in_memory_only_is_written_a_second_later(self, processes, clock):
        one, other = processes
        for _ in range(5):
            one.add_soon("a", MINUTE, clock.now)
        clock.now += 1.5
        one.add_soon("b", MINUTE, clock.now)
        assert other.add_soon("a", MINUTE, clock.now) == 6


@pytest.mark.on_both
class TestOverHttp:
    def test_every_answer_tells_where_its_key_stands(self, world):
        first, second = (world.lead.get("/v1/teams").headers for _ in range(2))
        assert first["ratelimit-policy"] == '"key";q=60000;w=60'
        left = [int(each["ratelimit"].split("r=")[1].split(";")[0]) for each in (first, second)]
        assert left[0] - left[1] == 1
        assert "ratelimit" not in world.lead.get("/healthz").headers

    def test_a_key_that_asks_too_often_waits_and_others_do_not(self, world, app_client):
        body = world.larch.coach.get("/v1/teams").headers["ratelimit"]
        used = 60_000 - int(body.split("r=")[1].split(";")[0])
        app_client.app.state.limits._per_minute = used + 5
        answers = [world.larch.coach.get("/v1/teams") for _ in range(7)]
        assert [answer.status_code for answer in answers][:5] == [200] * 5
        refused = answers[-1]
        assert refused.status_code == 429
        assert refused.json()["type"] == "/problems/too-many"
        assert 1 <= int(refused.headers["retry-after"]) <= 60
        assert refused.headers["ratelimit"].startswith('"key";r=0;t=')
        assert world.birch.coach.get("/v1/teams").status_code == 200

    def test_keys_and_imports_end_for_the_day(self, world, app_client):
        app_client.app.state.limits._per_day = {"keys": 5, "links": 1, "imports": 5}
        key = {"label": "new", "role": "reader", "organisation_ids": [world.larch.organisation_id]}
        batches = [{"trials": [trial_payload(school, client_ref="daily")]}
                   for school in (world.larch, world.birch)]  # fmt: skip
        for client, path, body in (
            (world.lead, "/v1/keys", key),
            (world.larch.coach, "/v1/imports", batches[0]),
        ):
            answers = [client.post(path, json=body) for _ in range(6)]
            assert answers[0].status_code == 201
            assert answers[-1].status_code == 429
            assert int(answers[-1].headers["retry-after"]) > 0
        assert world.birch.coach.post("/v1/imports", json=batches[1]).status_code == 201

    def test_guessing_stops_after_ten_and_locks_only_the_guesser_out(self, world, app_client):
        bad = wrong(world.larch.coach_key)
        guesser = from_network(app_client, bad, "192.0.2.7")
        codes = [guesser.get("/v1/teams").status_code for _ in range(MOST_GUESSES + 3)]
        assert codes == [401] * MOST_GUESSES + [429] * 3
        owner = from_network(app_client, world.larch.coach_key, "198.51.100.9")
        assert owner.get("/v1/teams").status_code == 200
        # A right key passes from the guesser's own network too: a school is not locked out.
        same = from_network(app_client, world.larch.coach_key, "192.0.2.200")
        assert same.get("/v1/teams").status_code == 200
        other = from_network(app_client, world.birch.coach_key, "192.0.2.200")
        assert other.get("/v1/teams").status_code == 200

    def test_what_is_no_guess_is_not_counted(self, world, app_client):
        for key in ("", "gust_x", world.larch.coach_key[:-1], world.larch.coach_key.lower()):
            client = from_network(app_client, key, "192.0.2.7")
            codes = {client.get("/v1/teams").status_code for _ in range(MOST_GUESSES + 3)}
            assert codes == {401}

    def test_the_sign_in_page_counts_alike(self, world, app_client):
        bad = wrong(world.larch.coach_key)
        browser = TestClient(
            app_client.app, base_url="https://gustbook.test", client=("192.0.2.7", 50000),
            headers={"Accept": "text/html", "Sec-Fetch-Site": "same-origin"},
        )  # fmt: skip
        browser.portal = app_client.portal
        answers = [browser.post("/sign-in", data={"key": bad}) for _ in range(MOST_GUESSES + 1)]
        assert [answer.status_code for answer in answers] == [401] * MOST_GUESSES + [429]
        assert "retry-after" in answers[-1].headers
        assert "<h1>" in answers[-1].text
