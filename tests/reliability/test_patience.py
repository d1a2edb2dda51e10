"""The server drops a client that never ends its request head, and its log is all JSON."""

import json
import socket
import time

import httpx
import pytest

from tests.support.service import FreshService

PROGRAM = (
    "-c",
    "import api.patience; api.patience.HEAD_WITHIN_S = 1.5\nfrom api.__main__ import app; app()",
    "serve",
)


class Impatient(FreshService):
    """Start a service with a short time limit for the head of a request."""

    PROGRAM = PROGRAM


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    running = Impatient(tmp_path_factory.mktemp("patience"))
    yield running
    running.kill()


def connected(service):
    """Return a plain connection to the service."""
    return socket.create_connection(("127.0.0.1", int(service.url.rsplit(":", 1)[1])), timeout=6)


@pytest.mark.parametrize(
    "start",
    [b"", b"GET /healthz HT", b"GET /healthz HTTP/1.1\r\nHost: x\r\nX-Slow: "],
    ids=["nothing", "a line", "a field"],
)
def test_a_head_that_never_ends_is_given_up(start, service):
    with connected(service) as connection:
        connection.sendall(start or b"")
        started = time.monotonic()
        assert b"200" not in connection.recv(2000)
        assert 1 < time.monotonic() - started < 5


def test_nor_may_the_second_request_of_a_connection(service):
    with connected(service) as connection:
        connection.sendall(b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n")
        assert b"200 OK" in connection.recv(4000)
        connection.sendall(b"GET /healthz HTTP/1.1\r\nHost: ")
        started = time.monotonic()
        while connection.recv(4000):
            pass
        assert time.monotonic() - started < 5


def trickle(connection):
    """Send one field of a head after the other, and never end it."""
    connection.sendall(b"GET /healthz HTTP/1.1\r\nHost: x\r\n")
    for at in range(60):
        connection.sendall(f"X-{at}: 1\r\n".encode())
        time.sleep(0.1)


def test_a_client_that_trickles_is_let_go(service):
    with connected(service) as connection, pytest.raises((BrokenPipeError, ConnectionResetError)):
        trickle(connection)


def test_a_connection_that_rests_between_requests_is_served_again(service):
    with httpx.Client(base_url=service.url) as client:
        for _ in range(2):
            assert client.get("/healthz").status_code == 200
            time.sleep(1.8)


def test_each_line_of_its_log_is_json(service):
    with connected(service) as connection:
        connection.sendall(b"no request at all\r\n\r\n")
        connection.recv(2000)
    lines = service.log_lines()
    assert len(lines) > 2
    items = [json.loads(line) for line in lines]
    assert any("journal" in line for line in items)
