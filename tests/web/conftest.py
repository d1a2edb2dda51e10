"""A browser without a screen: signed in by a key, as people's browsers are."""

import pytest
from fastapi.testclient import TestClient

from tests.support.databases import HERE
from tests.support.makers import Signed


@pytest.fixture
def visiting(app_client: TestClient) -> Signed:
    """Return what signs a browser in with a key, over the same running application."""

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
