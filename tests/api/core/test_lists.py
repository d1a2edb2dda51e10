"""Lists: their order, totals, chosen fields, things shown whole, filters of trials, ETags."""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from datetime import UTC, datetime, timedelta

import pytest

from api.models.registry.teams import TeamRead
from tests.support.makers import World, build_payload, created, session_payload, trial_payload


def listed(client, path, **query):
    answer = client.get(path, params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def names(client, path, **query):
    return [each["name"] for each in listed(client, path, **query)["items"]]


def refused(client, path, **query):
    answer = client.get(path, params=query)
    assert answer.status_code == 422, answer.text
    (error,) = answer.json()["errors"]
    return error["pointer"], error["detail"], error.get("hint")


@pytest.fixture
def teams(world: World):
    for name in ("Whinchat", "Avocet", "Merlin"):
        facts = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
        created(world.larch.coach.post("/v1/teams", json=facts | {"name": name}))
    return ["Larch one", "Whinchat", "Avocet", "Merlin"]


class TestRefused:
    @pytest.mark.parametrize(
        ("query", "pointer", "words"),
        [
            ({"sort": "colour"}, "/sort", "should be 'created_at', '-created_at', 'name' or"),
            ({"fields": "id,nam"}, "/fields", "no nam here; there are id, version"),
            ({"expand": "fan"}, "/expand", "no fan here; there are organisation, season"),
            ({"expand": "season.team"}, "/expand", "no team here"),
            ({"total": "perhaps"}, "/total", ""),
        ],
    )
    def test_what_a_list_does_not_know(self, query, pointer, words, world: World):
        got = refused(world.larch.coach, "/v1/teams", **query)
        assert got[0] == pointer
        assert words in got[1]

    def test_a_misspelt_field_is_guessed(self, world: World):
        assert "name" in refused(world.larch.coach, "/v1/teams", fields="nam")[2]

    def test_a_list_of_things_without_names_has_no_order_by_name(self, world: World):
        assert refused(world.larch.coach, "/v1/builds", sort="name")[0] == "/sort"

    def test_a_cursor_of_another_order(self, world: World, teams):
        cursor = listed(world.larch.coach, "/v1/teams", sort="name", limit=2)["next"]
        pointer, *_ = refused(world.larch.coach, "/v1/teams", sort="-name", limit=2, cursor=cursor)
        assert pointer == "/cursor"

    @pytest.mark.on_both
    @pytest.mark.parametrize("odd", ["\ud800", "\0"])
    @pytest.mark.parametrize("place", [0, 1])
    def test_a_cursor_changed_to_what_no_database_stores(self, odd, place, world: World, teams):
        cursor = listed(world.larch.coach, "/v1/teams", sort="name", limit=2)["next"]
        text = urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
        mark, last = text[:12], json.loads(text[12:])
        last[place] = odd
        changed = urlsafe_b64encode(f"{mark}{json.dumps(last)}".encode()).decode()
        pointer, *_ = refused(world.larch.coach, "/v1/teams", sort="name", limit=2, cursor=changed)
        assert pointer == "/cursor"

    def test_another_school_is_not_shown_whole(self, world: World):
        organisation = f"/v1/organisations/{world.birch.organisation_id}"
        assert world.larch.coach.get(organisation).status_code == 404
        (season,) = listed(world.larch.coach, "/v1/seasons", fields="id")["items"]
        assert season == {"id": world.season_id}


@pytest.mark.on_both
class TestOrder:
    @pytest.mark.parametrize("limit", [1, 2, 3, 200])
    @pytest.mark.parametrize("sort", ["name", "-name", "created_at", "-created_at"])
    def test_pages_go_through_all_in_order(self, sort, limit, world: World, teams):
        wanted = sorted(teams) if "name" in sort else teams
        if sort.startswith("-"):
            wanted = wanted[::-1]
        got, cursor = [], {}
        while True:
            page = listed(world.larch.coach, "/v1/teams", sort=sort, limit=limit, **cursor)
            got += [each["name"] for each in page["items"]]
            if page["next"] is None:
                break
            cursor = {"cursor": page["next"]}
        assert got == wanted

    def test_the_next_page_is_asked_for_in_the_same_way(self, world: World, teams):
        query = {"sort": "-name", "fields": "name", "limit": 3, "total": "true"}
        answer = world.larch.coach.get("/v1/teams", params=query)
        following = world.larch.coach.get(answer.links["next"]["url"]).json()
        assert following == {"items": [{"name": "Avocet"}], "next": None, "total": 4}

    def test_trials_by_the_start_of_their_session(self, world: World):
        larch = world.larch
        earlier = session_payload(larch, started_at="2026-03-01T10:00:00Z")
        session_id = created(larch.coach.post("/v1/sessions", json=earlier))["id"]
        sent = trial_payload(larch, session_id=session_id, client_ref="before")
        before = created(larch.coach.post("/v1/trials", json=sent))["id"]
        for sort, wanted in (
            ("started_at", [before, larch.trial_id]),
            ("-started_at", [larch.trial_id, before]),
            ("-created_at", [before, larch.trial_id]),
        ):
            first = listed(larch.coach, "/v1/trials", sort=sort, limit=1)
            cursor = first["next"]
            second = listed(larch.coach, "/v1/trials", sort=sort, limit=1, cursor=cursor)
            assert [page["items"][0]["id"] for page in (first, second)] == wanted
            assert second["next"] is None


class TestTotal:
    def test_it_counts_all_pages_of_what_the_key_may_see(self, world: World, teams):
        assert listed(world.larch.coach, "/v1/teams", total="true", limit=1)["total"] == 4
        assert listed(world.lead, "/v1/teams", total="true", limit=1)["total"] == 5
        assert listed(world.lead, "/v1/teams", total="true", name="Merlin")["total"] == 1

    def test_it_is_left_out_unless_asked_for(self, world: World):
        assert listed(world.larch.coach, "/v1/teams").keys() == {"items", "next"}

    def test_of_trials(self, world: World):
        assert listed(world.lead, "/v1/trials", total="true", limit=1)["total"] == 2
        by_team = listed(world.lead, "/v1/trials", total="true", team_id=world.larch.team_id)
        assert by_team["total"] == 1


class TestParts:
    def test_only_the_fields_that_were_asked_for(self, world: World):
        items = listed(world.larch.coach, "/v1/teams", fields="name, id")["items"]
        assert items == [{"id": world.larch.team_id, "name": "Larch one"}]

    def test_every_field_may_be_asked_for(self, world: World):
        whole = listed(world.larch.coach, "/v1/teams")["items"]
        fields = ",".join(TeamRead.model_fields)
        assert listed(world.larch.coach, "/v1/teams", fields=fields)["items"] == whole

    def test_things_are_shown_whole_as_they_are_alone(self, world: World):
        larch, query = world.larch, {"expand": "build.turbine.team,session", "fields": "id"}
        (trial,) = listed(larch.coach, "/v1/trials", **query)["items"]
        assert trial.keys() == {"id", "build", "session"}
        session = larch.coach.get(f"/v1/sessions/{larch.session_id}").json()
        assert trial["session"] == session
        team = larch.coach.get(f"/v1/teams/{larch.team_id}").json()
        assert trial["build"]["turbine"]["team"] == team

    def test_a_rotor_of_the_programme_has_no_team(self, world: World):
        turbines = listed(world.lead, "/v1/turbines", expand="team", name="Reference rotor 1")
        assert turbines["items"][0]["team"] is None


class TestUnchanged:
    @pytest.mark.parametrize("path", ["/v1/trials", "/v1/teams?fields=name"])
    def test_a_list_that_is_known_is_not_sent_again(self, path, world: World):
        tag = world.larch.coach.get(path).headers["etag"]
        again = world.larch.coach.get(path, headers={"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b"")
        assert world.birch.coach.get(path, headers={"If-None-Match": tag}).status_code == 200

    def test_it_is_sent_after_a_write(self, world: World):
        tag = world.larch.coach.get("/v1/trials").headers["etag"]
        sent = trial_payload(world.larch, client_ref="new")
        created(world.larch.coach.post("/v1/trials", json=sent))
        again = world.larch.coach.get("/v1/trials", headers={"If-None-Match": tag})
        assert again.status_code == 200


@pytest.mark.on_both
class TestTrialsByWhatTheyAreAbout:
    def test_by_each_filter(self, world: World):
        larch = world.larch
        second = created(larch.coach.post("/v1/builds", json=build_payload(larch.turbine_id)))["id"]
        sent = trial_payload(larch, build_id=second, kind="visit", client_ref="v")
        visit = created(larch.coach.post("/v1/trials", json=sent))["id"]
        both = [larch.trial_id, visit]
        for query, wanted in (
            ({"team_id": larch.team_id}, both),
            ({"turbine_id": larch.turbine_id}, both),
            ({"bench_id": larch.bench_id}, both),
            ({"build_id": second}, [visit]),
            ({"kind": "visit", "team_id": larch.team_id}, [visit]),
            ({"team_id": world.birch.team_id}, []),
            ({"bench_id": world.birch.bench_id}, []),
        ):
            items = listed(larch.coach, "/v1/trials", **query)["items"]
            assert [each["id"] for each in items] == wanted, query

    @pytest.mark.parametrize(
        ("zone", "day"), [("UTC", 1), ("Pacific/Auckland", 2), ("America/Los_Angeles", 1)]
    )
    def test_by_days_of_the_seasons_zone(self, zone, day, world: World):
        """18:30 UTC on 1 April is the second day of April in Auckland (UTC+13)."""
        season = f"/v1/seasons/{world.season_id}"
        version = {"If-Match": world.lead.get(season).headers["etag"]}
        world.lead.patch(season, json={"timezone": zone}, headers=version).raise_for_status()
        late = session_payload(world.larch, started_at="2026-04-01T18:30:00Z")
        session_id = created(world.larch.coach.post("/v1/sessions", json=late))["id"]
        sent = trial_payload(world.larch, session_id=session_id, client_ref="late")
        trial_id = created(world.larch.coach.post("/v1/trials", json=sent))["id"]
        for days, found in (
            ((day, day), True), ((day - 1, day - 1), False), ((day + 1, day + 1), False),
        ):  # fmt: skip
            query = dict(zip(("from_day", "to_day"), map(_april, days), strict=True))
            items = listed(world.larch.coach, "/v1/trials", **query)["items"]
            assert (trial_id in [each["id"] for each in items]) is found, query

    def test_updated_since(self, world: World):
        larch = world.larch
        later = (datetime.now(UTC) + timedelta(hours=1)).isoformat()
        assert listed(larch.coach, "/v1/trials", updated_since=later)["items"] == []
        since = (datetime.now(UTC) - timedelta(hours=1)).isoformat()
        items = listed(larch.coach, "/v1/trials", updated_since=since)["items"]
        assert [each["id"] for each in items] == [larch.trial_id]


def _april(day):
    return f"2026-04-{day:02}" if day else "2026-03-31"


class TestImports:
    @pytest.fixture
    def imports(self, world: World):
        sent = {"trials": [trial_payload(world.larch, client_ref="a")]}
        first = created(world.larch.coach.post("/v1/imports", json=sent))["id"]
        sent = {"trials": [trial_payload(world.birch, client_ref="b")]}
        second = created(world.birch.coach.post("/v1/imports", json=sent))["id"]
        undo = {"reason": "the wrong file"}
        path = f"/v1/imports/{second}/undo"
        world.birch.coach.post(path, json=undo).raise_for_status()
        return first, second

    def test_a_coach_lists_its_own_without_rows(self, world: World, imports):
        items = listed(world.larch.coach, "/v1/imports")["items"]
        assert [each["id"] for each in items] == [world.larch.import_id, imports[0]]
        assert items[1]["outcomes"] == {"created": 1, "unchanged": 0, "error": 0}
        assert "rows" not in items[1]

    def test_a_lead_lists_all_and_chooses(self, world: World, imports):
        first, second = imports
        larch, birch = world.larch.import_id, world.birch.import_id
        of_larch = {"organisation_id": world.larch.organisation_id}
        for query, wanted in (
            ({}, [larch, birch, first, second]),
            ({"undone": "true"}, [second]),
            ({"undone": "false"}, [larch, birch, first]),
            (of_larch, [larch, first]),
            ({"season_id": world.season_id} | of_larch, [larch, first]),
            ({"format": "csv"}, []),
            ({"sort": "-created_at"}, [second, first, birch, larch]),
        ):
            items = listed(world.lead, "/v1/imports", **query)["items"]
            assert [each["id"] for each in items] == wanted, query


class TestOfATeamAndByDay:
    def test_builds_of_one_team(self, world: World):
        builds = listed(world.lead, "/v1/builds", team_id=world.birch.team_id)["items"]
        assert [each["id"] for each in builds] == [world.birch.build_id]
        other = listed(world.larch.coach, "/v1/builds", team_id=world.birch.team_id)
        assert other["items"] == []

    def test_sessions_by_their_day(self, world: World):
        larch = world.larch
        for day in ("2026-04-09", "2026-04-02"):
            body = session_payload(larch, started_at=f"{day}T14:30:00Z")
            created(larch.coach.post("/v1/sessions", json=body))
        first = listed(larch.coach, "/v1/sessions", sort="-started_at", limit=1)
        rest = listed(larch.coach, "/v1/sessions", sort="-started_at", cursor=first["next"])
        days = [each["started_at"][:10] for each in first["items"] + rest["items"]]
        assert days == ["2026-04-09", "2026-04-02", "2026-03-05"]
