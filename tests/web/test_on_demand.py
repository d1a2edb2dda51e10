"""Pages and resources load at the first request that may be for one, and not before."""

import json
import os
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

PARTS = ["numpy", "api.routes.resources", "api.web.rendering", "joserfc"]
app = create_app(Settings(database_url="sqlite://" + sys.argv[1]))
with TestClient(app, base_url="https://x") as client:
    loaded = []
    for path in sys.argv[2:]:
        status = client.get(path, headers={"accept": "text/html"}).status_code
        loaded.append([path, status, *(each in sys.modules for each in PARTS)])
print(json.dumps(loaded))
"""


#: With a sign-in service, whose libraries load when somebody presses the button.
SCHOOL_ACCOUNT = {
    "GUSTBOOK_SIGN_IN_ISSUER": "http://localhost:9",
    "GUSTBOOK_SIGN_IN_CLIENT_ID": "gustbook",
    "GUSTBOOK_SIGN_IN_CLIENT_SECRET": "secret",
}


def loaded_by(tmp_path, *paths):
    """Return what each request of a new process is answered with, and what is loaded then."""
    done = subprocess.run([sys.executable, "-c", CODE, f"/{tmp_path}/none.db", *paths], cwd=ROOT,
                          env=os.environ | SCHOOL_ACCOUNT, check=True, capture_output=True,
                          text=True)  # fmt: skip
    return json.loads(done.stdout)


def test_requests_of_scripts_load_no_pages(tmp_path):
    paths = ["/v1/teams", "/v1/no-such-thing", "/v1/meta", "/openapi.json", "/sign-in"]
    assert loaded_by(tmp_path, "/healthz", "/readyz", *paths) == [
        ["/healthz", 200, False, False, False, False],
        ["/readyz", 503, False, False, False, False],
        ["/v1/teams", 401, True, True, False, False],
        ["/v1/no-such-thing", 404, True, True, False, False],
        ["/v1/meta", 200, True, True, False, False],
        ["/openapi.json", 200, True, True, False, False],
        ["/sign-in", 200, True, True, True, False],
    ]


def test_the_document_has_all_resources_without_an_earlier_request(tmp_path):
    assert loaded_by(tmp_path, "/openapi.json") == [
        ["/openapi.json", 200, True, True, False, False]
    ]


def test_a_page_loads_no_resources(tmp_path):
    ((path, status, _, resources, pages, tokens),) = loaded_by(tmp_path, "/sign-in")
    assert (path, status, resources, pages, tokens) == ("/sign-in", 200, False, True, False)


def test_the_libraries_for_school_accounts_load_at_the_first_press_of_the_button(tmp_path):
    ((_, status, *_, tokens),) = loaded_by(tmp_path, "/sign-in/school")
    assert (status, tokens) == (502, True)


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
