"""On SIGTERM the service finishes open requests; it trusts only its own proxy."""

import signal
import threading
import time

import httpx
import pytest

from tests.reliability.kills import batch_of, prepare
from tests.support.service import Service


@pytest.fixture
def service(tmp_path):
    running = Service(tmp_path)
    yield running
    running.kill()


def test_open_requests_are_finished_on_sigterm(service):
    key, school, places = prepare(service, 1)
    answers = []

    def send():
        with service.client(key) as client:
            batch = batch_of(school, places[0], 1, 800)
            headers = {"Idempotency-Key": "stopping"}
            answers.append(client.post("/v1/imports", json=batch, headers=headers))

    sender = threading.Thread(target=send)
    sender.start()
    time.sleep(0.3)  # it is at work on them now
    started = time.monotonic()
    service.process.send_signal(signal.SIGTERM)
    service.process.wait(timeout=15)
    sender.join()
    assert time.monotonic() - started < 10
    assert [answer.status_code for answer in answers] == [201]
    service.start()
    with service.client(key) as client:
        report = client.get(f"/v1/seasons/{school.season_id}/report").json()
    assert report["trials_stored"] == 800 + 1


@pytest.mark.parametrize(
    ("trusted", "network"), [("127.0.0.1", "203.0.113.0/24"), ("192.0.2.1", "127.0.0.0/24")]
)
def test_only_a_proxy_that_was_named_is_believed_about_who_asks(trusted, network, tmp_path):
    service = Service(tmp_path, GUSTBOOK_TRUSTED_PROXIES=trusted)
    try:
        forwarded = {"X-Forwarded-For": "203.0.113.77", "X-Forwarded-Proto": "https"}
        answer = httpx.get(f"{service.url}/healthz", headers=forwarded)
        is_https = "strict-transport-security" in answer.headers
        assert is_https == (trusted == "127.0.0.1")
        line = written(service, answer.headers["x-request-id"])
    finally:
        service.kill()
    assert f'"network": "{network}"' in line


def written(service, request_id):
    """Return the line of a request, which is written when its answer has left."""
    until = time.monotonic() + 5
    while time.monotonic() < until:
        for line in service.log_lines():
            if request_id in line:
                return line
        time.sleep(0.02)
    raise AssertionError(f"nothing is written of {request_id}")
