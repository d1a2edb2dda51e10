"""Logs and metrics: enough to find a request again, and no private data."""

import io
import json
import logging

import pytest
from fastapi.testclient import TestClient

from api import logs
from api.main import create_app
from api.settings import Settings
from tests.support.databases import ADDRESS, make_lead_key, signer

SECRET = "a word that must not be written"


@pytest.fixture
def lines(sqlite_templates):
    """Return the log entries as dictionaries, one per line."""
    logger, stream = logging.getLogger(logs.LOGGER), io.StringIO()
    before = (logger.handlers, logger.propagate, logger.level)
    logs.configure("info", stream)
    yield lambda: [json.loads(line) for line in stream.getvalue().splitlines()]
    logger.handlers, logger.propagate = before[0], before[1]
    logger.setLevel(before[2])


def test_a_request_is_one_line_that_leads_back_to_it(lines, world):
    answer = world.larch.coach.get(f"/v1/teams/{world.larch.team_id}")
    (line,) = lines()
    assert line["message"] == "answered"
    assert line["request_id"] == answer.headers["x-request-id"]
    assert (line["method"], line["status"]) == ("GET", 200)
    assert line["operation"] == "get_team"
    assert line["key_id"] == world.larch.key_id
    assert line["ms"] > 0


def test_no_secret_no_body_and_no_name_is_written(lines, world, app_client):
    same = {"Sec-Fetch-Site": "same-origin"}
    browser = TestClient(app_client.app, base_url="https://gustbook.test", headers=same)
    browser.follow_redirects = False
    browser.portal = app_client.portal
    browser.post("/sign-in", data={"key": world.larch.coach_key, "next": f"/{SECRET}"})
    browser.get(f"/shared/{SECRET}")
    world.larch.coach.get(f"/v1/teams?name={SECRET}")
    world.larch.coach.post("/v1/teams", json={"name": SECRET, "organisation_id": SECRET})
    world.larch.coach.get(f"/v1/teams/{SECRET}")
    written = json.dumps(lines())
    assert written.count("answered") == 5
    for secret in (SECRET, world.larch.coach_key, "Larch", "gustbook="):
        assert secret not in written


def test_refusals_are_written_down(lines, world, app_client, signed):
    signed("gust_x").get("/v1/teams")
    world.larch.reader.post("/v1/teams", json={})
    world.larch.coach.get("/v1/keys")
    world.larch.coach.get(f"/v1/teams/{world.birch.team_id}")
    app_client.app.state.limits._per_minute = 0
    world.larch.coach.get("/v1/teams")
    written = lines()
    assert [line["status"] for line in written] == [401, 403, 403, 404, 429]
    assert all(line["network"] for line in written)
    assert [bool(line["key_id"]) for line in written] == [False, True, True, True, True]


def test_an_address_is_shortened(lines, app_client):
    client = TestClient(app_client.app, base_url=ADDRESS, client=("192.0.2.77", 50000))
    client.portal = app_client.portal
    client.get("/healthz")
    (line,) = lines()
    assert line["network"] == "192.0.2.0/24"
    assert "192.0.2.77" not in json.dumps(line)


def test_a_fault_is_written_with_its_cause(lines, app_client, monkeypatch):
    def broken(*_):
        raise KeyError("cause")

    monkeypatch.setattr("api.routes.about.is_at_head", broken)
    answer = app_client.get("/readyz")
    assert answer.status_code == 500
    body = lines()
    assert any("KeyError" in line.get("fault", "") for line in body)
    assert body[-1]["status"] == 500


def test_metrics_are_off_unless_asked_for(app_client, database_url):
    assert app_client.get("/metrics").status_code == 404
    settings = Settings(database_url=database_url, metrics=True)
    with TestClient(create_app(settings), base_url=ADDRESS) as client:
        lead = signer(client)(make_lead_key(client))
        for _ in range(3):
            lead.get("/v1/teams/team_none")
        text = client.get("/metrics").text
    line = 'gustbook_requests_total{operation="get_team",status="404"} 3.0'
    assert line in text
    assert "team_none" not in text
    assert "gustbook_request_seconds_bucket" in text
    assert "gustbook_requests_running 1.0" in text
