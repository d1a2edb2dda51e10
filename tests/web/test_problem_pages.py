"""A page for each `type` of a problem, in the language of the reader."""

import pytest
from fastapi.testclient import TestClient

from api.errors import refusal_kinds
from api.main import create_app
from api.settings import Settings


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    database = tmp_path_factory.mktemp("problems") / "none.db"
    return TestClient(create_app(Settings(database_url=f"sqlite:///{database}")))


def test_a_kind_that_is_not_there(client):
    answer = client.get("/problems/nothing")
    assert answer.status_code == 404
    assert "not-found" in answer.json()["detail"]


@pytest.mark.parametrize("slug", sorted(refusal_kinds()))
@pytest.mark.parametrize("language", ["en", "de"])
def test_each_kind_says_what_to_do(slug, language, client):
    page = client.get(f"/problems/{slug}", headers={"Accept-Language": language})
    assert page.status_code == 200
    assert str(refusal_kinds()[slug]) in page.text
    assert 'class="answer"' in page.text


def test_the_type_of_a_refusal_leads_to_its_page(client):
    refusal = client.get("/v1/teams").json()
    assert client.get(refusal["type"]).status_code == 200
