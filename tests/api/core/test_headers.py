"""Headers of every answer."""

import pytest
from fastapi.testclient import TestClient

EVERYWHERE = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
}


@pytest.mark.parametrize(
    "path", ["/healthz", "/v1/meta", "/v1/teams", "/nothing", "/sign-in", "/reference", "/today"]
)
@pytest.mark.parametrize("accept", ["application/json", "text/html"])
def test_every_answer_is_framed(path, accept, app_client):
    answer = app_client.get(path, headers={"Accept": accept}, follow_redirects=False)
    for name, value in EVERYWHERE.items():
        assert answer.headers[name] == value
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
    assert "geolocation=()" in answer.headers["permissions-policy"]
    assert "server" not in answer.headers
    assert "access-control-allow-origin" not in answer.headers


def test_https_is_held_to_over_https_alone(app_client):
    assert "strict-transport-security" not in app_client.get("/healthz").headers
    safe = TestClient(app_client.app, base_url="https://gustbook.test")
    safe.portal = app_client.portal
    assert safe.get("/healthz").headers["strict-transport-security"] == (
        "max-age=31536000; includeSubDomains"
    )


def test_no_other_site_is_let_in(app_client):
    asked = {"Origin": "https://elsewhere.test", "Access-Control-Request-Method": "POST"}
    answer = app_client.options("/v1/trials", headers=asked)
    assert answer.status_code == 405
    assert not [name for name in answer.headers if name.startswith("access-control")]
