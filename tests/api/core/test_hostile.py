"""Hostile input to every write of the OpenAPI document is refused quickly, and never a 5xx."""

import json
from itertools import product

import pytest

from tests.support.hostile_bodies import BODIES
from tests.support.makers import World, trial_payload
from tests.support.operations import OPERATIONS, ids_of
from tests.support.scope_table import TABLE

WRITES = {
    name: (method, path)
    for name, (method, path) in OPERATIONS.items()
    if method in ("post", "patch") and TABLE[name].body is not None
}

NUL, BIDI, LONE = "\x00", "\u202e", "\ud800"


@pytest.mark.parametrize("body", BODIES.values(), ids=BODIES)
def test_no_write_falls_over(body, world: World):
    ids = ids_of(world.larch)
    for method, path in WRITES.values():
        answer = world.lead.request(
            method,
            path.format(**ids),
            content=body,
            headers={"Content-Type": "application/json", "If-Match": '"v1"'},
        )
        assert 400 <= answer.status_code < 500, (path, answer.text[:300])
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.json()["status"] == answer.status_code


TEXT_FIELDS = {
    "create_season": "name", "create_organisation": "name", "create_key": "label",
    "create_team": "name", "create_equipment": "tag", "create_turbine": "name",
    "create_build": "material", "create_bench": "name", "create_session": "note",
    "submit_trial": "client_ref",
}  # fmt: skip
BAD_TEXTS = [NUL, BIDI, LONE, "a\x07b", "\x7f", "\u2066x", "x" * 501]


@pytest.mark.on_both
def test_text_that_no_database_should_hold_is_refused(world: World):
    for (operation, field), text in product(TEXT_FIELDS.items(), BAD_TEXTS):
        method, path = OPERATIONS[operation]
        body = TABLE[operation].body(world.larch) | {field: text}
        # Plain ASCII escapes: how a lone surrogate travels.
        answer = world.lead.request(
            method, path, content=json.dumps(body), headers={"Content-Type": "application/json"}
        )
        assert answer.status_code in (400, 422), (operation, text, answer.text)


ODD_IDS = ["0", "-1", "9223372036854775808", "1180591620717411303424", "%00", "%FF",
           "%D9%A3", "team_" + "0" * 26, "team_" + "U" * 26, "..%2f..", "a" * 5000]  # fmt: skip


@pytest.mark.on_both
def test_odd_ids_are_simply_not_there(world: World):
    """Each kind of thing is asked for by some odd ids, and by each of them some kind is."""
    paths = [path for method, path in OPERATIONS.values() if method == "get" and "{" in path]
    assert len(paths) > 2 * len(ODD_IDS)
    for at, (path, _) in enumerate(product(paths, range(3))):
        name = ODD_IDS[at % len(ODD_IDS)]
        address = path.split("{")[0] + name + path.split("}")[1]
        answer = world.lead.get(address)
        assert answer.status_code == 404, (address, answer.text)
        assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("content_type", "status"),
    [("text/plain", 415), ("application/x-www-form-urlencoded", 415), ("", 415),
     ("application/json; charset=utf-16", 422)],
)  # fmt: skip
def test_content_of_another_kind(content_type, status, world: World):
    headers = {"Content-Type": content_type} if content_type else {}
    answer = world.lead.post("/v1/seasons", content=b'{"name": 1}', headers=headers)
    assert answer.status_code == status, answer.text


def test_a_packed_body_is_not_unpacked(world: World):
    answer = world.lead.post(
        "/v1/seasons",
        content=b"\x1f\x8b\x08\x00",
        headers={"Content-Type": "application/json", "Content-Encoding": "gzip"},
    )
    assert answer.status_code == 400


@pytest.mark.parametrize("chunked", [False, True], ids=["announced", "chunked"])
def test_a_body_over_the_limit_is_refused_as_a_problem(chunked, world: World):
    large = b'{"name": "' + b"x" * 3_100_000 + b'"}'
    content = iter([large[:1_000_000], large[1_000_000:]]) if chunked else large
    answer = world.lead.post(
        "/v1/seasons", content=content, headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 413
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"] == "/problems/too-large"
    assert answer.headers["x-request-id"] == answer.json()["instance"]


@pytest.mark.parametrize(
    "header", ["Bearer", "Basic abc", "Bearer \xe9\xe9", "Bearer " + "x" * 5000, "bearer gust_a_b"]
)
def test_odd_authorization(header, app_client):
    answer = app_client.get("/v1/teams", headers={"Authorization": header.encode("latin-1")})
    assert answer.status_code == 401


def test_every_field_of_an_answer_is_refused_in_a_creation(world: World):
    """What the service makes, nobody else can send: mass assignment has no door."""
    trial = world.larch.coach.get(f"/v1/trials/{world.larch.trial_id}").json()
    for name in ("id", "version", "created_at", "organisation_id", "season_id", "state", "result",
                 "flags", "import_id", "as_typed"):  # fmt: skip
        answer = world.larch.coach.post(
            "/v1/trials", json=trial_payload(world.larch, **{name: trial[name]})
        )
        assert answer.status_code == 422, name
        assert answer.json()["errors"][0]["pointer"] == f"/{name}"
