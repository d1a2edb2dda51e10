"""Attempts to reach others' data in every operation: cursors, retries, links, mixed ids."""

import copy
import re
from datetime import UTC, datetime

import pytest

from api.models.core.ids import new_id
from api.models.reporting.shares import ShareCreate
from api.services.access import keys
from api.services.reporting import shares
from tests.support.document import document
from tests.support.makers import trial_payload
from tests.support.operations import OPERATIONS, SHARED, ask, ids_of, nowhere, without_ids
from tests.support.scope_table import TABLE

ID = re.compile(r"[a-z]+_[0-9A-Z]{26}")
#: The status of a request whose body names own things and another school's, if it is not 404.
MIXED = {
    "import_trials": 422,  # the row is wrong, with its reason
    "create_key": 403,
    "create_many_keys": 403,
    "assign_power": 403,
    "record_results": 403,
    "create_event": 403,
}


@pytest.fixture
def things(world):
    return {name: ids_of(getattr(world, name)) for name in ("larch", "birch")}


def spots(body, path=()):
    """Yield the positions of ids in a body, as paths of keys."""
    if isinstance(body, dict | list):
        pairs = body.items() if isinstance(body, dict) else enumerate(body)
        for key, value in pairs:
            yield from spots(value, (*path, key))
    elif isinstance(body, str) and ID.fullmatch(body):
        yield path


def put(body, path, value):
    """Return a body with another value at one spot."""
    changed = copy.deepcopy(body)
    place = changed
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return changed


def at(body, path):
    for key in path:
        body = body[key]
    return body


#: Further ids that a body may have, by the name of the school's thing.
MORE = (
    ("create_session", {"meter_id": "meter_id"}),
    ("create_turbine", {"generator_id": "generator_id"}),
    ("create_build", {"parent_build_id": "build_id"}),
    ("check_equipment", {"against_id": "kit_id"}),
    ("submit_trial", {"load_id": "load_id"}),
    ("change_bench", {"fan_id": "fan_id"}),
    ("change_bench", {"anemometer_id": "anemometer_id"}),
    ("change_session", {"meter_id": "meter_id"}),
    ("change_turbine", {"generator_id": "generator_id"}),
)


def mixtures(world, things):
    """Yield operations with a body in which one id is the other school's, and one nobody's."""
    theirs = {mine: things["birch"][name] for name, mine in things["larch"].items()}
    usual = [(name, row.body(world.larch)) for name, row in TABLE.items() if row.body]
    more = [(name, TABLE[name].body(world.larch) | {field: things["larch"][mine]
             for field, mine in added.items()}) for name, added in MORE]  # fmt: skip
    for name, body in usual + more:
        for spot in spots(body) if isinstance(body, dict) else ():
            mine = at(body, spot)
            if mine in theirs and mine != theirs[mine]:
                absent = new_id(mine.split("_")[0])
                yield name, spot, put(body, spot, theirs[mine]), put(body, spot, absent)


def send(client, operation, ids, body, **headers):
    method, path = OPERATIONS[operation]
    address = path.format(**ids)
    if method == "patch":
        headers = {"If-Match": client.get(address).headers.get("etag", '"v1"')} | headers
    return client.request(method, address, json=body, headers=headers)


@pytest.mark.on_both
def test_one_id_of_another_school_in_a_body_is_like_one_that_is_not_there(world, things):
    seen, wrong = 0, {}
    for name, spot, theirs, absent in mixtures(world, things):
        ids = things["larch"] | {parameter: things["larch"][named]
                                 for parameter, named in TABLE[name].at.items()}  # fmt: skip
        mixed = send(world.larch.coach, name, ids, theirs)
        missing = send(world.larch.coach, name, ids, absent)
        expected = MIXED.get(name, 404)
        if mixed.status_code != expected or without_ids(mixed) != without_ids(missing):
            wrong[name, spot] = mixed.status_code, mixed.text[:200], missing.text[:200]
        seen += 1
    assert wrong == {}
    assert seen >= 18 + len(MORE)


@pytest.mark.on_both
def test_a_reader_meets_anothers_things_as_absent_ones(world, things):
    wrong = {}
    for name, row in TABLE.items():
        if row.coach_other is None:
            continue
        theirs = ask(world.larch.reader, name, world.birch, things["birch"])
        nobody, absent = nowhere(world.birch, things["birch"])
        missing = ask(world.larch.reader, name, nobody, absent)
        method, _ = OPERATIONS[name]
        expected = row.coach_other if method == "get" and row.reader_own != 403 else 403
        if theirs.status_code != expected or without_ids(theirs) != without_ids(missing):
            wrong[name] = theirs.status_code, theirs.text[:200]
    assert wrong == {}


def listing():
    """Yield the operations that answer a list, with their address and filters."""
    for path, item in document()["paths"].items():
        asked = item.get("get", {})
        names = [each["name"] for each in asked.get("parameters", []) if each["in"] == "query"]
        if "cursor" in names:
            yield asked["operationId"], path, [name for name in names if name.endswith("_id")]


@pytest.mark.on_both
def test_anothers_cursor_opens_nothing_of_theirs(world, things):
    hidden = {value for name, value in things["birch"].items() if name not in SHARED}
    seen, wrong = 0, {}
    for name, path, _ in listing():
        theirs = world.lead.get(path.format(**things["birch"]), params={"limit": 1}).json()
        if theirs.get("next") is None:
            continue
        seen += 1
        for ids in things.values():
            address = path.format(**ids)
            answer = world.larch.coach.get(address, params={"cursor": theirs["next"]})
            text = {each for each in hidden if each in answer.text} - set(ID.findall(address))
            if answer.status_code not in (200, 403, 404, 422) or text:
                wrong[name] = answer.status_code, text
    assert wrong == {}
    assert seen >= 10


@pytest.mark.on_both
def test_a_list_narrowed_to_anothers_thing_is_like_one_narrowed_to_nothing(world, things):
    stands_for = {"borrower_id": "organisation_id", "owner_id": "organisation_id"}
    seen, wrong = 0, {}
    for name, path, filters in listing():
        for each in filters:
            theirs = things["birch"].get(stands_for.get(each, each), "")
            if not theirs or each in SHARED:
                continue
            seen += 1
            address = path.format(**things["larch"])
            answers = [world.larch.coach.get(address, params={each: value})
                       for value in (theirs, new_id(theirs.split("_")[0]))]  # fmt: skip
            if without_ids(answers[0]) != without_ids(answers[1]):
                wrong[name, each] = answers[0].text[:200]
    assert wrong == {}
    assert seen > 10


@pytest.mark.on_both
def test_anothers_idempotency_key_replays_nothing(world, things):
    seen, wrong = 0, {}
    for name, (method, _) in OPERATIONS.items():
        row = TABLE[name]
        body = row.body(world.birch) if row.body else None
        if method != "post" or not isinstance(body, dict) or row.coach_own >= 400:
            continue
        once = {"Idempotency-Key": f"the same {name}"}
        ids = {school: things[school] | {parameter: things[school][named]
                                         for parameter, named in row.at.items()}
               for school in things}  # fmt: skip
        theirs = send(world.birch.coach, name, ids["birch"], body, **once)
        mine = send(world.larch.coach, name, ids["larch"], row.body(world.larch), **once)
        seen += 1
        text = [value for key, value in things["birch"].items()
                if key not in SHARED and value in mine.text]  # fmt: skip
        if text or "idempotent-replayed" in mine.headers or mine.status_code != theirs.status_code:
            wrong[name] = theirs.status_code, mine.status_code, text
    assert wrong == {}
    assert seen > 10


@pytest.mark.on_both
def test_the_secret_of_a_share_link_is_no_key(world, things, app_client, signed):
    with app_client.app.state.database.unit_of_work() as db:
        maker = keys.caller_of(db, world.larch.key_id, datetime.now(UTC))
        link = shares.create(db, maker, ShareCreate(team_id=world.larch.team_id))
    bearer = signed(link.token)
    answers = {name: ask(bearer, name, world.larch, things["larch"]).status_code
               for name, row in TABLE.items() if row.needs_key}  # fmt: skip
    assert set(answers.values()) == {401}


def test_a_thing_of_ones_own_cannot_be_given_to_another_school(world, things):
    """No change takes `organisation_id`, so that nothing moves between schools."""
    moved = {
        name: send(world.larch.coach, name, things["larch"],
                   {"organisation_id": world.birch.organisation_id}, **{"If-Match": '"v1"'})
        for name, (method, _) in OPERATIONS.items() if method == "patch"
    }  # fmt: skip
    assert {name: answer.status_code for name, answer in moved.items()
            if answer.status_code not in (403, 422)} == {}  # fmt: skip
    asked = trial_payload(world.larch, organisation_id=world.birch.organisation_id)
    assert world.larch.coach.post("/v1/trials", json=asked).status_code == 422
