"""Several things of one kind in one request: all of them are stored, or none."""

import pytest
from sqlalchemy import event

from tests.support.makers import build_payload, created

TEAMS = "/v1/teams/batch"


def team(school, name, **facts):
    shared = {"organisation_id": school.organisation_id, "season_id": school.season_id}
    return shared | {"name": name} | facts


def names(client):
    return [each["name"] for each in client.get("/v1/teams?limit=200").json()["items"]]


class TestRefused:
    @pytest.mark.parametrize("items", [[], [{}] * 201, None, {}])
    def test_none_or_more_than_are_taken_at_once(self, items, world):
        answer = world.larch.coach.post(TEAMS, json={"items": items})
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["pointer"] == "/items"

    def test_an_unknown_field_beside_the_items(self, world):
        asked = {"items": [team(world.larch, "Elm")], "dry_run": True}
        assert world.larch.coach.post(TEAMS, json=asked).status_code == 422

    def test_each_fault_of_a_shape_has_its_place(self, world):
        asked = [team(world.larch, "Elm"), team(world.larch, ""), team(world.larch, "Ash", size=0)]
        answer = world.larch.coach.post(TEAMS, json={"items": asked})
        assert answer.status_code == 422
        places = [error["pointer"] for error in answer.json()["errors"]]
        assert places == ["/items/1/name", "/items/2/size"]

    def test_one_that_is_stored_already_lets_none_be_stored(self, world):
        before = names(world.lead)
        asked = [team(world.larch, "Elm"), team(world.larch, before[0]), team(world.larch, "Elm")]
        answer = world.larch.coach.post(TEAMS, json={"items": asked})
        assert answer.status_code == 409
        problem = answer.json()
        assert [error["pointer"] for error in problem["errors"]] == ["/items/1", "/items/2"]
        assert "2 of 3" in problem["detail"]
        assert names(world.lead) == before

    def test_a_thing_of_another_school_is_not_found_at_its_place(self, world):
        asked = [team(world.larch, "Elm"), team(world.birch, "Ash")]
        answer = world.larch.coach.post(TEAMS, json={"items": asked})
        assert answer.status_code == 404
        assert answer.json()["errors"][0]["pointer"] == "/items/1/organisation_id"

    def test_faults_of_several_kinds_are_one_refusal(self, world):
        taken = names(world.lead)[0]
        asked = [team(world.larch, taken), team(world.birch, "Ash")]
        answer = world.larch.coach.post(TEAMS, json={"items": asked})
        assert answer.status_code == 422
        codes = [error["code"] for error in answer.json()["errors"]]
        assert codes == ["conflict", "not_found"]

    def test_a_school_of_a_key_that_is_not_there_is_named(self, world):
        there, missing = world.larch.organisation_id, "org_" + "0" * 26
        key = {"label": "Coach", "role": "coach", "organisation_ids": [there]}
        items = [key, key | {"organisation_ids": [there, missing]}]
        answer = world.lead.post("/v1/keys/batch", json={"items": items})
        (error,) = answer.json()["errors"]
        assert error["pointer"] == "/items/1/organisation_ids"
        assert missing in error["detail"]

    def test_a_reader_stores_nothing(self, world):
        answer = world.larch.reader.post(TEAMS, json={"items": [team(world.larch, "Elm")]})
        assert answer.status_code == 403


class TestStored:
    def test_in_their_order_and_with_an_id_each(self, world):
        asked = [team(world.larch, f"Elm {number}") for number in range(1, 31)]
        answer = world.larch.coach.post(TEAMS, json={"items": asked})
        assert answer.status_code == 201, answer.text
        items = answer.json()["items"]
        assert [each["name"] for each in items] == [each["name"] for each in asked]
        assert len({each["id"] for each in items}) == 30
        assert "location" not in answer.headers
        for each in items[:2]:
            assert world.larch.coach.get(f"/v1/teams/{each['id']}").json() == each

    def test_a_later_build_may_follow_an_earlier_one_of_the_same_turbine(self, world):
        turbine = created(
            world.larch.coach.post(
                "/v1/turbines", json={"team_id": world.larch.team_id, "name": "B"}
            )
        )
        asked = [build_payload(turbine["id"], pitch_deg=float(pitch)) for pitch in (8, 10, 12)]
        answer = world.larch.coach.post("/v1/builds/batch", json={"items": asked})
        assert [each["number"] for each in answer.json()["items"]] == [1, 2, 3]

    def test_a_quantity_in_another_unit_is_remembered_as_typed(self, world):
        turbine = {"team_id": world.larch.team_id, "name": "B"}
        stored = world.larch.coach.post("/v1/turbines/batch", json={"items": [turbine]})
        facts = build_payload(stored.json()["items"][0]["id"])
        facts["rotor_diameter_mm"] = 1000 * facts.pop("rotor_diameter_m")
        answer = world.larch.coach.post("/v1/builds/batch", json={"items": [facts]})
        (build,) = answer.json()["items"]
        assert build["as_typed"]["rotor_diameter_m"]["unit"] == "mm"

    def test_a_retry_stores_nothing_more(self, world):
        asked = {"items": [team(world.larch, "Elm"), team(world.larch, "Ash")]}
        headers = {"Idempotency-Key": "two teams"}
        first = world.larch.coach.post(TEAMS, json=asked, headers=headers)
        again = world.larch.coach.post(TEAMS, json=asked, headers=headers)
        assert again.json() == first.json()
        assert names(world.lead).count("Elm") == 1

    def test_a_key_for_many_schools_asks_the_database_no_more_often(self, world, app_client):
        schools = [{"name": f"School {number}"} for number in range(40)]
        made = created(world.lead.post("/v1/organisations/batch", json={"items": schools}))
        ids = [school["id"] for school in made["items"]]
        statements = []
        engine = app_client.app.state.database.write_engine
        event.listen(engine, "before_cursor_execute", lambda *sent: statements.append(sent[2]))
        counts = []
        for some in (ids[:2], ids):
            key = {"label": "Coach", "role": "coach", "organisation_ids": some}
            assert set(created(world.lead.post("/v1/keys", json=key))["organisation_ids"]) == {
                *some
            }
            counts.append(len(statements))
            statements.clear()
        assert counts[0] == counts[1] > 0

    def test_secrets_of_keys_are_shown_once(self, world):
        key = {"label": "Coach", "role": "coach", "organisation_ids": [world.larch.organisation_id]}
        asked, headers = {"items": [key, key | {"label": "Reader"}]}, {"Idempotency-Key": "keys"}
        first = world.lead.post("/v1/keys/batch", json=asked, headers=headers).json()["items"]
        again = world.lead.post("/v1/keys/batch", json=asked, headers=headers).json()["items"]
        assert all(each["key"].startswith("gust_") for each in first)
        assert all("key" not in each for each in again)
        assert [each["id"] for each in again] == [each["id"] for each in first]
