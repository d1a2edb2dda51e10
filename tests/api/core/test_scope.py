"""Access to every operation of the OpenAPI document, for every role."""

from datetime import UTC, datetime

import pytest

from tests.support.makers import World, created, trial_payload
from tests.support.operations import (
    OPERATIONS,
    ask,
    assert_tells_nothing_of,
    ids_of,
    nowhere,
    without_ids,
)
from tests.support.scope_table import TABLE


def test_every_operation_has_a_row():
    assert set(TABLE) == set(OPERATIONS)


@pytest.fixture
def things(world: World) -> dict[str, dict[str, str]]:
    """Return the ids of both schools."""
    return {name: ids_of(getattr(world, name)) for name in ("larch", "birch")}


@pytest.mark.parametrize("operation", OPERATIONS)
class TestEveryOperation:
    def test_a_coach_reaches_the_own_school(self, operation, world, things):
        answer = ask(world.larch.coach, operation, world.larch, things["larch"])
        assert answer.status_code == TABLE[operation].coach_own, answer.text
        assert_tells_nothing_of(answer, things["birch"])

    @pytest.mark.on_both  # so that each operation runs on each database
    def test_a_lead_reaches_everything(self, operation, world, things):
        answer = ask(world.lead, operation, world.birch, things["birch"])
        assert answer.status_code == TABLE[operation].lead, answer.text


class TestRefusals:
    """What is refused changes nothing, so that all operations are tried in one world."""

    def test_without_a_good_key_all_are_refused(self, world, things, app_client, signed):
        keys = ("gust_x", _expired(world), _revoked(world))
        for client in (app_client, *map(signed, keys)):
            for operation, row in TABLE.items():
                answer = ask(client, operation, world.larch, things["larch"])
                assert answer.status_code == (401 if row.needs_key else 200), operation
                assert ("WWW-Authenticate" in answer.headers) == row.needs_key, operation

    def test_a_reader_reads_and_never_writes(self, world, things):
        for operation, row in TABLE.items():
            answer = ask(world.larch.reader, operation, world.larch, things["larch"])
            # An import is shown to the key that sent it, and to a lead.
            expected = 404 if operation == "get_import" else row.reader_own
            assert answer.status_code == expected, (operation, answer.text)
            assert_tells_nothing_of(answer, things["birch"])

    @pytest.mark.on_both  # the conditions on rows are what the two databases might read differently
    def test_what_is_anothers_answers_like_what_is_not_there(self, world, things):
        season = f"/v1/seasons/{world.season_id}"
        for operation, row in TABLE.items():
            if row.coach_other is None:
                continue
            before = world.lead.get(season).json()["revision"]
            theirs = ask(world.larch.coach, operation, world.birch, things["birch"])
            assert theirs.status_code == row.coach_other, (operation, theirs.text)
            nobody, absent = nowhere(world.birch, things["birch"])
            missing = ask(world.larch.coach, operation, nobody, absent)
            assert without_ids(theirs) == without_ids(missing), operation
            assert world.lead.get(season).json()["revision"] == before, operation


def _expired(world: World) -> str:
    asked = {"label": "old", "role": "lead", "expires_at": "2026-01-01T00:00:00Z"}
    return str(created(world.lead.post("/v1/keys", json=asked))["key"])


def _revoked(world: World) -> str:
    key = created(world.lead.post("/v1/keys", json={"label": "lost", "role": "lead"}))
    changed = world.lead.patch(
        f"/v1/keys/{key['id']}", json={"revoked": True}, headers={"If-Match": '"v1"'}
    )
    assert changed.status_code == 200
    return str(key["key"])


@pytest.mark.on_both
class TestMixedIds:
    """One body that names things of two schools."""

    @pytest.mark.parametrize(
        "field", ["session_id", "build_id", "load_id"], ids=lambda field: f"another's {field}"
    )
    def test_a_trial_cannot_be_pieced_together(self, field, world):
        answer = world.larch.coach.post(
            "/v1/trials", json=trial_payload(world.larch, **{field: getattr(world.birch, field)})
        )
        assert answer.status_code == 404
        assert answer.json()["errors"][0]["pointer"] == f"/{field}"

    def test_a_bench_cannot_borrow_a_fan(self, world):
        asked = TABLE["create_bench"].body(world.larch) | {"fan_id": world.birch.fan_id}
        assert world.larch.coach.post("/v1/benches", json=asked).status_code == 404

    def test_a_cursor_of_another_list_is_refused(self, world):
        first = world.lead.get("/v1/benches?limit=1")
        cursor = first.json()["next"]
        assert world.larch.coach.get(f"/v1/teams?cursor={cursor}").status_code == 422
        narrowed = world.larch.coach.get(f"/v1/benches?cursor={cursor}")
        assert world.birch.bench_id not in narrowed.text

    def test_an_idempotency_key_is_the_callers_own(self, world):
        headers = {"Idempotency-Key": "the same words"}
        for school in (world.larch, world.birch):
            answer = school.coach.post(
                "/v1/trials", json=trial_payload(school, client_ref="i"), headers=headers
            )
            assert created(answer)["organisation_id"] == school.organisation_id

    def test_a_coach_of_two_schools_reaches_both(self, world, signed):
        both = [world.larch.organisation_id, world.birch.organisation_id]
        asked = {"label": "both", "role": "coach", "organisation_ids": both}
        coach = signed(created(world.lead.post("/v1/keys", json=asked))["key"])
        assert len(coach.get("/v1/teams").json()["items"]) == 2

    def test_the_reference_rotor_is_seen_by_all_and_written_by_a_lead(self, world):
        path = f"/v1/builds/{world.reference_build_id}"
        assert world.larch.reader.get(path).status_code == 200
        tag = {"If-Match": '"v1"'}
        assert world.larch.coach.patch(path, json={"note": "x"}, headers=tag).status_code == 403
        assert world.lead.patch(path, json={"note": "x"}, headers=tag).status_code == 200


def test_an_expired_key_was_good_before(world, signed):
    soon = datetime(2090, 1, 1, tzinfo=UTC).isoformat()
    asked = {"label": "long", "role": "lead", "expires_at": soon}
    client = signed(created(world.lead.post("/v1/keys", json=asked))["key"])
    assert client.get("/v1/seasons").status_code == 200
