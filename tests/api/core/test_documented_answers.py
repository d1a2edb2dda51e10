"""Each answer in the tests is held against the document: what differs from it is found."""

import json

import pytest

from tests.support import documented
from tests.support.document import document

OPERATION = document()["paths"]["/healthz"]["get"]


def faults_of(status=200, media="application/json", body=None, **headers):
    named = {"content-type": media, "x-request-id": "req_1"} | headers
    pairs = [(name.encode(), value.encode()) for name, value in named.items() if value]
    content = json.dumps({"status": "ok"} if body is None else body).encode()
    start = {"type": "http.response.start", "status": status, "headers": pairs}
    end = {"type": "http.response.body", "body": content}
    return documented._faults(OPERATION, [start, end])


@pytest.fixture(autouse=True)
def _as_if_new(monkeypatch):
    monkeypatch.setattr(documented, "_seen", type(documented._seen)())


def test_what_the_document_does_not_have_is_found():
    assert faults_of(status=409) == ["answers 409"]
    assert faults_of(media="text/csv") == ["answers 200 as text/csv"]
    assert faults_of(**{"x-request-id": ""}) == ["200 is without x-request-id"]
    (fault,) = faults_of(body={"status": 1})
    assert fault == "200 has at ['status']: 1 is not of type 'string'"
    (fault,) = faults_of(body={})
    assert "'status' is a required property" in fault


def test_what_is_as_documented_is_no_fault():
    assert faults_of() == []
    problem = dict.fromkeys(("type", "title", "detail", "instance"), "") | {"status": 405}
    assert faults_of(405, "application/problem+json", problem) == []


def test_an_answer_of_the_service_is_looked_at(app_client, monkeypatch):
    monkeypatch.setitem(OPERATION["responses"]["200"], "headers", {"ETag": {}})
    assert app_client.get("/healthz").status_code == 200
    assert documented.faults == ["get_health: 200 is without etag"]
    documented.faults.clear()
