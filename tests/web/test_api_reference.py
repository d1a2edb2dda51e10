"""The pages of the API reference are complete, without dead links, and show text only as text."""

import re
from functools import cache
from html import escape

import pytest
from fastapi.testclient import TestClient

from api.main import create_app
from api.settings import Settings
from api.web.views.api_reference import kind, subjects

HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>"
MOST_BYTES = 100 * 1024


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    database = tmp_path_factory.mktemp("pages") / "none.db"
    return TestClient(create_app(Settings(database_url=f"sqlite:///{database}")))


@pytest.fixture(scope="module")
def document(client):
    return client.app.openapi()


@pytest.fixture(scope="module")
def pages(client, document):
    """Return every page of the reference by its address."""
    addresses = ["/reference", *(f"/reference/{name}" for name in subjects(document))]
    return {address: client.get(address) for address in addresses}


class TestRefused:
    def test_a_subject_that_is_not_there(self, client):
        answer = client.get("/reference/nothing")
        assert answer.status_code == 404
        assert "there are: about, seasons" in answer.json()["detail"]

    def test_a_file_that_is_not_there(self, client):
        assert client.get("/assets/page-0123456789ab.css").status_code == 404


class TestWhole:
    def test_every_call_stands_on_its_subjects_page(self, pages, document):
        for path, item in document["paths"].items():
            for method, call in item.items():
                page = pages[f"/reference/{call['tags'][0]}"].text
                assert f'<section id="{call["operationId"]}">' in page
                assert f"<b>{method.upper()}</b> <code>{path}</code>" in page

    def test_every_allowed_value_is_listed(self, pages, document):
        asked = document["components"]["schemas"]["TrialCreate"]["properties"]
        page = pages["/reference/trials"].text
        assert [name for name in asked if f"<code>{name}</code>" not in page] == []
        assert "whole number, 1 to 200" in page  # limit, of a list
        assert "number, 0.05 to 1000000 Ω" in page  # load_ohm

    def test_no_link_is_dead(self, client, pages):
        text_of = cache(lambda address: client.get(address).text)
        for page in pages.values():
            for link in re.findall(r'href="([^"]*)"', page.text):
                address, _, place = link.partition("#")
                there = text_of(address) if address else page.text
                assert not place or f'id="{place}"' in there or place == "main", link

    def test_each_place_has_one_name(self, pages):
        for page in pages.values():
            ids = re.findall(r' id="([^"]*)"', page.text)
            assert len(ids) == len(set(ids))


class TestSafe:
    def test_nothing_comes_from_elsewhere_and_nothing_runs(self, pages):
        for page in pages.values():
            assert page.status_code == 200
            assert "default-src 'none'; style-src 'self'" in page.headers["content-security-policy"]
            assert not re.search(r"<script|style=|(src|href)=\"(https?:)?//", page.text)

    def test_a_page_is_light(self, pages):
        assert max(len(page.content) for page in pages.values()) < MOST_BYTES

    def test_the_style_sheet_is_kept(self, client, pages):
        (link,) = re.findall(r'<link rel="stylesheet" href="([^"]*)"', pages["/reference"].text)
        answer = client.get(link)
        assert answer.headers["content-type"].startswith("text/css")
        assert "immutable" in answer.headers["cache-control"]

    def test_what_a_document_says_stays_text(self, client, document, monkeypatch):
        call = document["paths"]["/v1/teams"]["post"]
        monkeypatch.setitem(call, "description", HOSTILE)
        monkeypatch.setitem(document["components"]["schemas"]["TeamCreate"], "description", HOSTILE)
        for address in ("/reference", "/reference/teams"):
            page = client.get(address).text
            assert "<script" not in page
            assert escape(HOSTILE)[:20] in page


@pytest.mark.parametrize(
    ("schema", "words_shown"),
    [
        ({"type": "integer", "minimum": 1}, "whole number, at least 1"),
        ({"type": "number", "maximum": 5, "x-unit": "Ω"}, "number, at most 5 Ω"),
        ({"type": "number", "x-unit": "W"}, "number, W"),
        ({"enum": ["a", "b"], "type": "string"}, "one of a, b"),
        ({"const": "a", "type": "string"}, "a"),
        ({"type": "string", "format": "date"}, "day, as 2026-03-05"),
        ({"type": "string", "maxLength": 60}, "text of at most 60 signs"),
        ({"type": "boolean"}, "true or false"),
        ({}, "anything"),
    ],
)
def test_kinds_in_words(schema, words_shown):
    assert "".join(words for words, _ in kind(schema)) == words_shown
