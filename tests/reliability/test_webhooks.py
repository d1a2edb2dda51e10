"""Messages of webhooks survive a crash, and a slow receiver holds up neither work nor a stop."""

import signal
import time

import httpx
import pytest

from api.db import open_database
from tests.reliability.kills import prepare
from tests.support.makers import created, trial_payload, webhook_payload
from tests.support.receivers import receiving
from tests.support.service import Service
from tests.support.webhooks import deliveries_of


@pytest.fixture
def receiver():
    with receiving() as running:
        yield running


@pytest.fixture
def service(tmp_path, receiver):
    running = Service(
        tmp_path, GUSTBOOK_WEBHOOK_HOSTS=f"127.0.0.1:{receiver.port}", GUSTBOOK_METRICS="true"
    )
    yield running
    running.kill()


def stored(service):
    """Return the state and the attempts of each stored delivery."""
    database = open_database(service.database_url, threads=1, busy_timeout_s=20)
    try:
        return [(row.state, row.attempts) for row in deliveries_of(database)]
    finally:
        database.close()


def hold_a_trial(service, key, school, name):
    with service.client(key) as client:
        runs = [{"voltage_v": 1.2}, {"voltage_v": 1.9}]
        asked = trial_payload(school, runs=runs, client_ref=name)
        assert created(client.post("/v1/trials", json=asked))["state"] == "held"


def make_webhook(service, key, school, receiver):
    with service.client(key) as client:
        asked = webhook_payload(school.organisation_id, receiver.port)
        return created(client.post("/v1/webhooks", json=asked))


def test_what_was_committed_before_a_crash_is_sent_after_it(service, receiver):
    key, school, _ = prepare(service, 1)
    secret = make_webhook(service, key, school, receiver)["secret"]
    service.kill()
    hosts = service.environment.pop("GUSTBOOK_WEBHOOK_HOSTS")
    service.start()  # it stores messages and sends none, as if it always died in between
    hold_a_trial(service, key, school, "before the crash")
    service.kill()
    assert (receiver.received, stored(service)) == ([], [("pending", 0)])
    service.environment["GUSTBOOK_WEBHOOK_HOSTS"] = hosts
    service.start()
    (received,) = receiver.wait_for(1)
    assert received.verified(secret)["type"] == "trial.needs_answer"
    counted = 'gustbook_webhook_attempts_total{state="delivered"} 1.0'
    until = time.monotonic() + 10
    while counted not in httpx.get(f"{service.url}/metrics").text:
        assert time.monotonic() < until
        time.sleep(0.02)
    assert stored(service) == [("delivered", 1)]


def test_the_service_stops_and_works_while_a_receiver_is_slow(service, receiver):
    key, school, _ = prepare(service, 1)
    make_webhook(service, key, school, receiver)
    receiver.delay_s = 4.0
    hold_a_trial(service, key, school, "slow")
    receiver.wait_for(1)
    began_s = time.monotonic()
    hold_a_trial(service, key, school, "meanwhile")
    assert time.monotonic() - began_s < 2
    began_s = time.monotonic()
    service.process.send_signal(signal.SIGTERM)
    service.process.wait(timeout=15)
    assert time.monotonic() - began_s < 3
    assert stored(service) == [("pending", 1), ("pending", 0)]
    assert [line for line in service.log_lines() if '"fault"' in line] == []
