"""Every refusal is a problem with a request id, and an internal fault reveals nothing."""

import pytest
from fastapi import APIRouter
from sqlalchemy.exc import OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from api.errors import from_foreign
from api.models.core.validation import explain
from tests.support.makers import World


def is_problem(answer):
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["x-request-id"] == answer.json()["instance"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.json()["status"] == answer.status_code
    return answer.json()


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/nothing", 404),
        ("GET", "/v1/nothing", 404),
        ("GET", "/v1/teams/", 404),
        ("DELETE", "/v1/teams", 405),
        ("PUT", "/v1/teams", 405),
        ("TRACE", "/v1/teams", 405),
        ("GET", "/v1/teams", 401),
    ],
)
def test_what_the_framework_refuses_is_a_problem_too(method, path, status, app_client):
    answer = app_client.request(method, path)
    assert answer.status_code == status
    is_problem(answer)


def test_a_fault_of_ours_is_a_problem_that_tells_nothing(app_client, caplog):
    router = APIRouter()

    @router.get("/fault")
    def fault() -> None:
        raise KeyError("the secret")

    app_client.app.include_router(router)
    answer = app_client.get("/fault")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    is_problem(answer)
    assert "the secret" in caplog.text


def test_a_busy_database_says_when_to_come_back(app_client):
    router = APIRouter()

    @router.get("/busy")
    def busy() -> None:
        raise OperationalError("insert", {}, Exception("database or disk is full"))

    app_client.app.include_router(router)
    answer = app_client.get("/busy")
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "2")
    is_problem(answer)


def test_good_answers_are_framed_as_well(world: World):
    answer = world.lead.get("/v1/meta")
    assert answer.headers["x-request-id"].startswith("req_")
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert answer.headers["cache-control"] == "no-store"


def test_two_requests_have_two_ids(app_client):
    one, two = (app_client.get("/healthz").headers["x-request-id"] for _ in range(2))
    assert one != two


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OperationalError(None, None, Exception("server closed")), "not known whether"),
        (OperationalError("INSERT", {}, Exception("disk full")), "nothing of this request was"),
        (PoolTimeout("no connection"), "nothing of this request was"),
    ],
    ids=["at the commit", "before it", "no connection"],
)
def test_it_is_said_whether_something_may_have_been_stored(error, words):
    """A connection that breaks at the commit leaves it open whether the commit went through."""
    assert words in str(from_foreign(error, explain))
