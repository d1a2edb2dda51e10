"""Provide a browser without a screen, signed in with a key as people's browsers are."""

import pytest
from fastapi.testclient import TestClient

from tests.support.databases import HERE
from tests.support.makers import Signed


@pytest.fixture
def visiting(app_client: TestClient) -> Signed:
    """Return a function that signs a browser in with a key, on the same running application."""

    def visit(key: str) -> TestClient:
        browser = TestClient(
            app_client.app,
            base_url=HERE,
            headers={"Accept": "text/html", "Sec-Fetch-Site": "same-origin"},
            follow_redirects=False,
            raise_server_exceptions=False,
        )
        browser.portal = app_client.portal
        if key:
            assert browser.post("/sign-in", data={"key": key}).headers["location"] == "/today"
        return browser

    return visit
