"""Rules of all collections: If-Match, pages, filters, names, and the rules of each."""

import pytest

from tests.support.makers import World, build_payload, created, season_payload, session_payload


class TestIfMatch:
    def test_a_change_must_name_its_state(self, world: World):
        answer = world.larch.coach.patch(f"/v1/teams/{world.larch.team_id}", json={"size": 4})
        assert answer.status_code == 428

    @pytest.mark.on_both
    def test_a_stale_state_is_refused(self, world: World):
        path, tag = f"/v1/teams/{world.larch.team_id}", {"If-Match": '"v1"'}
        first = world.larch.coach.patch(path, json={"size": 4}, headers=tag)
        assert first.status_code == 200
        assert first.headers["ETag"].startswith('"v2.')
        second = world.larch.coach.patch(path, json={"size": 5}, headers=tag)
        assert second.status_code == 412
        assert world.larch.coach.get(path).json()["size"] == 4

    @pytest.mark.parametrize("tag", ["v1", '"v0001x"', 'W/"v1"', '"v99999999999999"'])
    def test_what_is_no_tag_of_ours_is_refused(self, tag, world: World):
        answer = world.larch.coach.patch(
            f"/v1/teams/{world.larch.team_id}", json={"size": 4}, headers={"If-Match": tag}
        )
        assert answer.status_code == 400

    def test_a_known_state_is_not_sent_again(self, world: World):
        path = f"/v1/teams/{world.larch.team_id}"
        tag = world.larch.coach.get(path).headers["ETag"]
        again = world.larch.coach.get(path, headers={"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b"")

    @pytest.mark.on_both
    def test_left_out_keeps_and_null_clears(self, world: World):
        path = f"/v1/teams/{world.larch.team_id}"
        answer = world.larch.coach.patch(
            path, json={"size": 4, "age_band": "11-12"}, headers={"If-Match": '"v1"'}
        )
        answer = world.larch.coach.patch(
            path, json={"size": None}, headers={"If-Match": '"v2"'}
        ).json()
        assert (answer["size"], answer["age_band"]) == (None, "11-12")

    def test_null_cannot_clear_what_must_be(self, world: World):
        answer = world.larch.coach.patch(
            f"/v1/teams/{world.larch.team_id}", json={"name": None}, headers={"If-Match": '"v1"'}
        )
        assert answer.json()["errors"][0]["pointer"] == "/name"

    def test_merge_patch_is_taken(self, world: World):
        answer = world.larch.coach.patch(
            f"/v1/teams/{world.larch.team_id}",
            content='{"size": 4}',
            headers={"If-Match": '"v1"', "Content-Type": "application/merge-patch+json"},
        )
        assert answer.status_code == 200

    def test_a_seasons_tag_tells_its_revision_and_a_change_needs_only_its_version(
        self, world: World
    ):
        path = f"/v1/seasons/{world.season_id}"
        before = world.lead.get(path).headers["ETag"]
        created(
            world.larch.coach.post(
                "/v1/sessions", json=session_payload(world.larch, started_at="2026-03-09T09:00:00Z")
            )
        )
        assert world.lead.get(path).headers["ETag"] != before
        answer = world.lead.patch(path, json={"name": "S"}, headers={"If-Match": before})
        assert answer.status_code == 200


@pytest.mark.on_both
class TestPages:
    def test_pages_follow_each_other_and_end(self, world: World):
        coach = world.larch.coach
        names = [f"Team {number}" for number in range(5)]
        for name in names:
            facts = {
                "organisation_id": world.larch.organisation_id,
                "season_id": world.season_id,
                "name": name,
            }
            created(coach.post("/v1/teams", json=facts))
        seen, path, pages = [], "/v1/teams?limit=2", 0
        while path:
            answer = coach.get(path)
            seen += [team["name"] for team in answer.json()["items"]]
            path = answer.links.get("next", {}).get("url")
            assert (answer.json()["next"] is None) == (path is None)
            pages += 1
        assert seen == ["Larch one", *names]
        assert pages == 3

    def test_filters_are_named_like_fields(self, world: World):
        answer = world.lead.get(f"/v1/teams?organisation_id={world.birch.organisation_id}")
        assert [team["id"] for team in answer.json()["items"]] == [world.birch.team_id]

    @pytest.mark.parametrize(
        "query", ["limti=3", "limit=0", "limit=201", "limit=x", "cursor=garbage", "cursor=%00",
                  "cursor=" + "A" * 500, "organisation_id=1"],
    )  # fmt: skip
    def test_what_is_not_understood_is_refused(self, query, world: World):
        assert world.lead.get(f"/v1/teams?{query}").status_code == 422

    def test_a_number_beyond_all_builds_is_refused(self, world: World):
        for number in (2**31, 2**63, 2**70):
            assert world.lead.get(f"/v1/builds?number={number}").status_code == 422

    def test_a_misspelt_parameter_gets_a_hint(self, world: World):
        problem = world.lead.get("/v1/teams?limti=3").json()
        assert problem["errors"][0]["hint"] == "Did you mean limit?"

    def test_single_things_take_no_parameters(self, world: World):
        assert world.lead.get(f"/v1/teams/{world.larch.team_id}?x=1").status_code == 422


@pytest.mark.on_both
class TestNames:
    def test_a_name_is_taken_once(self, world: World):
        answer = world.lead.post("/v1/organisations", json={"name": "Larch school"})
        assert answer.status_code == 409
        assert answer.json()["detail"] == "something with this name is stored already"

    def test_a_clash_names_all_that_is_taken(self, world: World):
        again = world.larch.coach.post("/v1/sessions", json=session_payload(world.larch))
        assert again.json()["detail"] == (
            "something with this bench_id and season_id and started_at is stored already"
        )

    def test_two_schools_may_write_the_same_on_their_things(self, world: World):
        for school in (world.larch, world.birch):
            asked = {"organisation_id": school.organisation_id, "kind": "other", "tag": "M-01"}
            created(school.coach.post("/v1/equipment", json=asked))
        assert school.coach.post("/v1/equipment", json=asked).status_code == 409

    def test_what_nobody_owns_has_names_of_its_own(self, world: World):
        rotor = {"team_id": None, "name": "Reference rotor 1"}
        assert world.lead.post("/v1/turbines", json=rotor).status_code == 409
        thing = {"kind": "other", "tag": "P-1"}
        created(world.lead.post("/v1/equipment", json=thing))
        assert world.lead.post("/v1/equipment", json=thing).status_code == 409

    def test_a_coach_does_not_learn_names_by_renaming(self, world: World):
        answer = world.larch.coach.patch(
            f"/v1/organisations/{world.larch.organisation_id}",
            json={"name": "Birch school"},
            headers={"If-Match": '"v1"'},
        )
        assert answer.status_code == 403

    def test_two_schools_may_have_teams_of_one_name(self, world: World):
        for school in (world.larch, world.birch):
            facts = {
                "organisation_id": school.organisation_id,
                "season_id": world.season_id,
                "name": "Gale",
            }
            created(school.coach.post("/v1/teams", json=facts))


class TestRules:
    def test_a_season_ends_after_it_starts(self, world: World):
        asked = season_payload(name="Odd", ends_on="2026-01-01")
        assert world.lead.post("/v1/seasons", json=asked).status_code == 422
        answer = world.lead.patch(
            f"/v1/seasons/{world.season_id}",
            json={"ends_on": "2026-01-01"},
            headers={"If-Match": '"v1"'},
        )
        assert answer.status_code == 422

    @pytest.mark.on_both
    def test_builds_number_themselves(self, world: World):
        second = world.larch.coach.post("/v1/builds", json=build_payload(world.larch.turbine_id))
        assert created(second)["number"] == 2

    @pytest.mark.on_both
    def test_a_number_is_taken_once(self, world: World):
        asked = build_payload(world.larch.turbine_id, number=1)
        assert world.larch.coach.post("/v1/builds", json=asked).status_code == 409

    def test_only_a_reference_rotor_has_an_assigned_power(self, world: World):
        asked = build_payload(world.larch.turbine_id, assigned_power_w=0.06)
        assert world.larch.coach.post("/v1/builds", json=asked).status_code == 422

    def test_a_parent_is_of_the_same_turbine(self, world: World):
        asked = build_payload(world.larch.turbine_id, parent_build_id=world.reference_build_id)
        assert world.larch.coach.post("/v1/builds", json=asked).status_code == 422

    def test_a_fan_is_not_a_wind_meter(self, world: World):
        asked = {
            "organisation_id": world.larch.organisation_id,
            "name": "Odd",
            "fan_id": world.larch.fan_id,
            "fan_setting": "1",
            "distance_m": 1,
            "anemometer_id": world.larch.fan_id,
        }
        problem = world.larch.coach.post("/v1/benches", json=asked).json()
        assert problem["errors"][0]["code"] == "wrong_kind"

    def test_a_bench_that_was_used_stays_the_bench_it_is(self, world: World):
        path, tag = f"/v1/benches/{world.larch.bench_id}", {"If-Match": '"v1"'}
        moved = world.larch.coach.patch(path, json={"distance_m": 1.2}, headers=tag)
        assert moved.status_code == 409
        assert "new bench" in moved.json()["detail"]
        assert world.larch.coach.patch(path, json={"name": "N"}, headers=tag).status_code == 200

    def test_an_adult_cannot_be_taken_from_a_session_with_trials(self, world: World):
        answer = world.larch.coach.patch(
            f"/v1/sessions/{world.larch.session_id}",
            json={"adult_present": False},
            headers={"If-Match": '"v1"'},
        )
        assert answer.status_code == 409

    def test_a_session_lies_in_its_season(self, world: World):
        asked = session_payload(world.larch, started_at="2027-03-05T14:30:00Z")
        problem = world.larch.coach.post("/v1/sessions", json=asked).json()
        assert problem["errors"][0]["code"] == "outside_season"

    @pytest.mark.parametrize(
        ("kind", "spec", "pointer"),
        [
            ("fan", {"diameter": 0.5}, "/spec/diameter"),
            ("fan", {"diameter_m": 50}, "/spec/diameter_m"),
            ("anemometer", {"type": "propeller"}, "/spec/type"),
            ("meter", {"counts": 1}, "/spec/counts"),
            ("other", {"colour": "red"}, "/spec/colour"),
        ],
    )
    def test_a_data_sheet_fits_its_kind(self, kind, spec, pointer, world: World):
        asked = {"kind": kind, "tag": "X", "spec": spec}
        problem = world.lead.post("/v1/equipment", json=asked).json()
        assert problem["errors"][0]["pointer"] == pointer

    def test_a_data_sheet_takes_other_units(self, world: World):
        asked = {"kind": "fan", "tag": "F", "spec": {"diameter_in": 20}}
        equipment = created(world.lead.post("/v1/equipment", json=asked))
        assert equipment["spec"] == {"diameter_m": pytest.approx(0.508)}

    def test_a_coach_cannot_register_for_the_programme(self, world: World):
        asked = {"kind": "other", "tag": "X", "organisation_id": None}
        assert world.larch.coach.post("/v1/equipment", json=asked).status_code == 403

    @pytest.mark.parametrize(
        ("path", "body", "hint"),
        [
            ("/v1/teams", {"organisation_id": "x", "season_id": "x", "nam": "y"}, "name"),
            ("/v1/sessions", {"bench_id": "x", "wind_speed_m_s": 4.2}, "wind_speed_end_m_s"),
            ("/v1/turbines", {"name": "x", "team_id": None, "organisation_id": "x"}, None),
        ],
    )
    def test_a_hint_names_a_field_of_the_same_thing(self, path, body, hint, world: World):
        errors = world.lead.post(path, json=body).json()["errors"]
        (error,) = [each for each in errors if each["code"] == "unknown_field"]
        assert error.get("hint") == (hint and f"Did you mean {hint}?")

    def test_a_data_sheet_is_kept_as_typed(self, world: World):
        asked = {"kind": "fan", "tag": "G", "spec": {"diameter_in": 20}}
        equipment = created(world.lead.post("/v1/equipment", json=asked))
        assert equipment["as_typed"]["spec.diameter_m"]["value"] == 20

    def test_a_coachs_key_needs_a_school(self, world: World):
        asked = {"label": "x", "role": "coach"}
        assert world.lead.post("/v1/keys", json=asked).status_code == 422

    def test_a_keys_secret_is_shown_once(self, world: World):
        key = created(world.lead.post("/v1/keys", json={"label": "x", "role": "lead"}))
        shown = world.lead.get(f"/v1/keys/{key['id']}").json()
        assert "key" not in shown
        assert key["key"].split("_")[2] not in world.lead.get("/v1/keys").text
