"""Hostile input over every write of the OpenAPI document: refused, quickly, and never a 5xx."""

import json
from itertools import product

import pytest

from tests.api.core.test_scope import OPERATIONS, ids_of
from tests.support.makers import World, trial_payload
from tests.support.scope_table import TABLE

WRITES = {
    name: (method, path)
    for name, (method, path) in OPERATIONS.items()
    if method in ("post", "patch") and TABLE[name].body is not None
}

NUL, BIDI, LONE = "\x00", "\u202e", "\ud800"
BODIES = {
    "NaN": b'{"name": NaN}',
    "Infinity": b'{"load_ohm": Infinity}',
    "1e400": b'{"load_ohm": 1e400, "altitude_m": 1e400, "limit": 1e400}',
    "lone surrogate as value": b'{"name": "\\ud800"}',
    "lone surrogate as key": b'{"\\ud800": 1}',
    "NUL": b'{"name": "a\\u0000b", "label": "a\\u0000b"}',
    "bidi override": '{"name": "a\u202eb", "note": "a\u202eb"}'.encode(),
    "long string": json.dumps({"name": "x" * 1_000_000}).encode(),
    "5000 digits": b'{"size": ' + b"9" * 5000 + b"}",
    "400 digits": b'{"size": ' + b"9" * 400 + b', "altitude_m": ' + b"9" * 400 + b"}",
    "1e400 deep inside": b'{"name": "x", "starts_on": "2026-02-02", "ends_on": "2026-03-02", '
    b'"rule_set": {"a": [1e400]}}',
    "2 to the 70": b'{"size": 1180591620717411303424, "number": 1180591620717411303424}',
    "deep": b"[" * 100_000,
    "deep object": b'{"rule_set":' + b'{"a":' * 50 + b"1" + b"}" * 51,
    "duplicate keys": b'{"name": "a", "name": "b"}',
    "utf-16": '{"name": "a"}'.encode("utf-16"),
    "latin-1": '{"name": "\xe9"}'.encode("latin-1"),
    "empty": b"",
    "null": b"null",
    "list": b"[]",
    "text": b'"text"',
    "truncated": b'{"name": "a"',
    "unknown field": b'{"nonsense": 1}',
    "bool for a number": b'{"load_ohm": true, "size": true, "altitude_m": true}',
    "text for a number": b'{"load_ohm": "1.5", "size": "4", "altitude_m": "4"}',
    "naive time": b'{"started_at": "2026-03-05T14:30:00", "expires_at": "2026-03-05T14:30:00"}',
    "unix time": b'{"started_at": 1772359200, "expires_at": "1772359200"}',
    "year 9999": b'{"started_at": "9999-12-31T23:59:59-14:00", "starts_on": "9999-12-31"}',
    "year 1": b'{"started_at": "0001-01-01T00:00:00+14:00", "starts_on": "0001-01-01"}',
    "leap second": b'{"started_at": "2026-06-30T23:59:60Z", "measured_at": "2026-06-30T23:59:60Z"}',
    "no such day": b'{"started_at": "2026-02-29T10:00:00Z", "starts_on": "2026-02-29"}',
    "unknown time zone": b'{"timezone": "0", "name": "x"}',
    "odd time zone": b'{"timezone": "../../etc/passwd"}',
    "as_typed from outside": b'{"as_typed": {"x": 1}}',
    "id from outside": b'{"id": "team_00000000000000000000000000", "version": 9}',
}


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
