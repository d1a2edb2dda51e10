"""The address of an adult at a key: whose it is, who sees it, and how it goes."""

import io
import json
import zipfile
from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import select

from api.models.access.keys import AccessKey
from api.services.access import keys
from api.services.operations import erasing
from tests.support.makers import created
from tests.support.stored import stored_rows

pytestmark = pytest.mark.on_both
EMAIL = "coach@school.example"
NO_ADDRESSES = (
    "", " ", "coach", "coach@", "@school.example", "a b@school.example", "a@b@c.example",
    "coach@school.example\n\nx", "coach@school..example", "\u212aim@school.example",
    "k@sch\u00f6l.example", "a" * 65 + "@school.example", "a@" + "b" * 260, 7,
)  # fmt: skip


@pytest.fixture
def make(world):
    """Return a function that makes a lead's key."""
    return lambda **facts: created(
        world.lead.post("/v1/keys", json={"label": "Kim", "role": "lead"} | facts)
    )


@pytest.fixture
def patch(world):
    """Return a function that changes a key."""

    def patch(key, **changes):
        path = f"/v1/keys/{key['id']}"
        tag = {"If-Match": world.lead.get(path).headers["etag"]}
        return world.lead.patch(path, json=changes, headers=tag)

    return patch


def who(app_client, email=EMAIL):
    """Return the id of the key that an address opens, or None."""
    with app_client.app.state.database.unit_of_work() as db:
        caller = keys.sign_in_at(db, email, datetime.now(UTC))
    return caller and caller.key_id


def in_hours(hours):
    return (datetime.now(UTC) + timedelta(hours=hours)).isoformat()


class TestRefused:
    def test_what_is_no_address(self, world):
        for typed in NO_ADDRESSES:
            asked = {"label": "x", "role": "lead", "sign_in_email": typed}
            answer = world.lead.post("/v1/keys", json=asked)
            assert answer.status_code == 422, typed
            assert answer.json()["errors"][0]["pointer"] == "/sign_in_email"

    def test_the_address_of_another_valid_key(self, make, patch, world):
        make(sign_in_email=EMAIL)
        taken = {"label": "x", "role": "lead", "sign_in_email": " Coach@SCHOOL.example "}
        for answer in (world.lead.post("/v1/keys", json=taken), patch(make(), sign_in_email=EMAIL)):
            assert answer.status_code == 409
            (error,) = answer.json()["errors"]
            assert (error["code"], error["pointer"]) == ("taken", "/sign_in_email")

    def test_a_key_that_becomes_valid_again(self, make, patch):
        ended = make(sign_in_email=EMAIL, expires_at=in_hours(-1))
        make(sign_in_email=EMAIL)
        assert patch(ended, expires_at=in_hours(1)).status_code == 409

    def test_an_address_for_a_revoked_key(self, make, patch):
        key = make()
        patch(key, revoked=True)
        assert patch(key, sign_in_email=EMAIL).status_code == 409

    def test_no_coach_sees_or_sets_one(self, make, world):
        make(sign_in_email=EMAIL)
        assert world.larch.coach.get("/v1/keys").status_code == 403
        answer = world.larch.coach.patch(f"/v1/keys/{world.larch.key_id}",
                                         json={"sign_in_email": EMAIL})  # fmt: skip
        assert answer.status_code == 403


def test_an_address_opens_its_key_until_that_ends(make, patch, app_client):
    key = make(sign_in_email="Coach@School.Example", expires_at=in_hours(1))
    assert key["sign_in_email"] == EMAIL
    assert who(app_client) == key["id"]
    assert patch(key, expires_at=in_hours(-1)).status_code == 200
    assert who(app_client) is None


def test_a_revoked_key_has_no_address_and_another_may_take_it(make, patch, app_client):
    key = make(sign_in_email=EMAIL)
    assert patch(key, revoked=True).json()["sign_in_email"] is None
    assert who(app_client) is None
    assert who(app_client) != make(sign_in_email=EMAIL)["id"] == who(app_client)


def test_an_address_is_changed_and_removed(make, patch, app_client):
    key = make(sign_in_email=EMAIL)
    assert patch(key, sign_in_email="kim@school.example").status_code == 200
    assert (who(app_client), who(app_client, "kim@school.example")) == (None, key["id"])
    assert patch(key, sign_in_email=None).json()["sign_in_email"] is None
    assert who(app_client, "kim@school.example") is None


def test_the_audit_log_has_the_change_and_no_address(make, patch, database_url):
    key = make(sign_in_email=EMAIL)
    patch(key, sign_in_email="kim@school.example")
    patch(key, revoked=True)
    entries = [each for each in stored_rows(database_url)["audit_entry"]
               if each["thing_id"] == key["id"]]  # fmt: skip
    changes = [(each["action"], each["changes"]) for each in entries]
    attached, another = [None, "(address)"], ["(address)", "(address)"]
    assert changes == [
        ("created", None),
        ("changed", {"sign_in_email": attached}),
        ("changed", {"sign_in_email": another}),
        ("revoked", None),
    ]


def test_an_address_is_not_in_the_answers_that_are_stored_for_retries(world, database_url):
    key = {"label": "Kim", "role": "lead", "sign_in_email": EMAIL}
    for path, asked in (
        ("/v1/keys", key),
        ("/v1/keys/batch", {"items": [key | {"sign_in_email": "kim@school.example"}]}),
    ):
        first, retry = (
            world.lead.post(path, json=asked, headers={"Idempotency-Key": f"of {path}"})
            for _ in range(2)
        )
        assert (first.status_code, retry.status_code) == (201, 201)
        assert "school.example" in first.text
        assert "school.example" not in retry.text
    stored = json.dumps(stored_rows(database_url)["given_answer"], default=str)
    assert "school.example" not in stored


def test_nothing_of_an_erased_schools_address_is_left(make, run, world, database_url):
    school = [world.larch.organisation_id]
    make(role="coach", organisation_ids=school, sign_in_email=EMAIL)
    assert run("purge", "--organisation", *school, "--yes").exit_code == 0
    assert EMAIL not in json.dumps(stored_rows(database_url), default=str)


def test_the_address_of_a_key_that_ended_a_month_ago_goes_with_the_next_purge(make, app_client):
    for days, label in ((31, "long ago"), (29, "lately")):
        make(label=label, sign_in_email=EMAIL, expires_at=in_hours(-24 * days))
    with app_client.app.state.database.unit_of_work() as db:
        assert erasing.tidy(db, datetime.now(UTC))["sign_in_email"] == 1
        addresses = {row.label: row.sign_in_email for row in db.scalars(select(AccessKey))}
    assert (addresses["long ago"], addresses["lately"]) == (None, EMAIL)


def test_the_export_of_a_school_has_no_address(make, world):
    school = world.larch.organisation_id
    make(role="coach", organisation_ids=[school], sign_in_email=EMAIL)
    exported = world.lead.get(f"/v1/organisations/{school}/export")
    assert exported.status_code == 200
    assert EMAIL.encode() not in b"".join(texts_of(exported.content))


def texts_of(zipped):
    with zipfile.ZipFile(io.BytesIO(zipped)) as file:
        return [file.read(name) for name in file.namelist()]


def test_the_console_makes_a_key_with_an_address(run, app_client):
    words = ("key", "create", "--role", "lead", "--label", "Kim", "--sign-in-email")
    assert run(*words, "no address").exit_code == 2
    assert run(*words, EMAIL).exit_code == 0
    assert who(app_client)
