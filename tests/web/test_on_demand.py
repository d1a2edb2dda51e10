"""Pages load at the first request that may be for one, and not before."""

import json
import subprocess
import sys

import pytest
from starlette.testclient import TestClient

from api.main import create_app
from api.settings import Settings
from tests.support.programs import ROOT

CODE = """
import json, sys
from starlette.testclient import TestClient
from api.main import create_app
from api.settings import Settings

app = create_app(Settings(database_url="sqlite://" + sys.argv[1]))
with TestClient(app, base_url="https://x") as client:
    loaded = []
    for path in sys.argv[2:]:
        status = client.get(path, headers={"accept": "text/html"}).status_code
        loaded.append([path, status, "api.web.rendering" in sys.modules])
print(json.dumps(loaded))
"""


PATHS = ["/v1/meta", "/healthz", "/v1/teams", "/v1/no-such-thing", "/openapi.json", "/sign-in"]


def test_requests_of_scripts_load_no_pages(tmp_path):
    done = subprocess.run([sys.executable, "-c", CODE, f"/{tmp_path}/none.db", *PATHS], cwd=ROOT,
                          check=True, capture_output=True, text=True)  # fmt: skip
    assert json.loads(done.stdout) == [
        ["/v1/meta", 200, False],
        ["/healthz", 200, False],
        ["/v1/teams", 401, False],
        ["/v1/no-such-thing", 404, False],
        ["/openapi.json", 200, False],
        ["/sign-in", 200, True],
    ]


@pytest.mark.parametrize("path", ["/no-such-page", "/v1", "/v1-teams"])
def test_an_unknown_address_is_a_page_that_says_so(tmp_path, path):
    settings = Settings(database_url=f"sqlite:///{tmp_path}/none.db")
    with TestClient(create_app(settings), base_url="https://x") as client:
        answer = client.get(path, headers={"accept": "text/html"})
    assert (answer.status_code, answer.headers["content-type"]) == (404, "text/html; charset=utf-8")


def test_a_form_sent_as_the_first_request_finds_its_page(tmp_path):
    settings = Settings(database_url=f"sqlite:///{tmp_path}/none.db")
    with TestClient(create_app(settings), base_url="https://x") as client:
        answer = client.delete("/sign-in")
    assert (answer.status_code, answer.headers["allow"]) == (405, "GET, HEAD, POST")
