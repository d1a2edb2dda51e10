"""Share links: their content, their visitors, and their end."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import select

from api.models.reporting.shares import Share
from tests.support.makers import World, build_payload, created, trial_payload
from tests.support.share_links import TOKEN, make


def change(client, **facts):
    with client.app.state.database.unit_of_work() as db:
        row = db.scalars(select(Share)).one()
        for name, value in facts.items():
            setattr(row, name, value)


class TestRefused:
    def test_a_link_that_ended_was_taken_back_or_never_was_answers_alike(self, world, visiting):
        coach, anybody = visiting(world.larch.coach_key), visiting("")
        never = anybody.get("/shared/" + "x" * 43)
        ended = make(coach, team_id=world.larch.team_id)
        change(coach, expires_at=datetime.now(UTC) - timedelta(seconds=1))
        assert page_text(anybody.get(ended)) == page_text(never)
        change(coach, expires_at=datetime.now(UTC) + timedelta(days=1))
        assert anybody.get(ended).status_code == 200
        with coach.app.state.database.reading() as db:
            share_id = db.scalars(select(Share.id)).one()
        coach.post(f"/shares/{share_id}/revoke")
        assert page_text(anybody.get(ended)) == page_text(never)

    def test_a_link_ends_with_the_key_that_made_it(self, world, visiting):
        link = make(visiting(world.larch.coach_key), team_id=world.larch.team_id)
        tag = {"If-Match": '"v1"'}
        world.lead.patch(f"/v1/keys/{world.larch.key_id}", json={"revoked": True}, headers=tag)
        assert visiting("").get(link).status_code == 404

    def test_a_link_ends_where_its_maker_reaches_no_more(self, world, visiting):
        link = make(visiting(world.larch.coach_key), team_id=world.larch.team_id)
        other = {"organisation_ids": [world.birch.organisation_id]}
        tag = {"If-Match": '"v1"'}
        world.lead.patch(f"/v1/keys/{world.larch.key_id}", json=other, headers=tag)
        assert visiting("").get(link).status_code == 404

    def test_more_links_than_a_day_has(self, world, visiting, app_client):
        app_client.app.state.limits._per_day = {"links": 2}
        coach, asked = visiting(world.larch.coach_key), {"team_id": world.larch.team_id}
        for _ in range(2):
            make(coach, **asked)
        refused = coach.post("/shares", data=asked | {"days": "3"})
        assert refused.status_code == 429
        assert "2 links a day" in refused.text

    @pytest.mark.parametrize("days", ["0", "367", "1,5", "never", ""])
    def test_a_link_without_an_end(self, days, world, visiting):
        asked = {"team_id": world.larch.team_id, "days": days}
        answer = visiting(world.larch.coach_key).post("/shares", data=asked)
        assert answer.status_code == 422
        assert TOKEN not in answer.text

    def test_a_link_of_nothing_and_of_two_things(self, world, visiting):
        coach = visiting(world.larch.coach_key)
        both = {"team_id": world.larch.team_id, "season_id": world.season_id}
        for asked in ({}, both):
            assert coach.post("/shares", data=asked | {"days": "3"}).status_code == 422


class TestShown:
    def test_a_link_is_kept_as_a_digest_alone(self, world, visiting):
        coach = visiting(world.larch.coach_key)
        link = make(coach, team_id=world.larch.team_id)
        with coach.app.state.database.reading() as db:
            row = db.scalars(select(Share)).one()
        assert link.removeprefix(TOKEN) not in str(row.model_dump())
        assert link not in coach.get("/shares").text

    def test_a_link_shows_no_free_text(self, world, visiting):
        school = world.larch
        words = "SECRET words"
        payload = build_payload(school.turbine_id, changed_factor=words, note=words, pitch_deg=9)
        build = created(school.coach.post("/v1/builds", json=payload))
        for at in range(4):
            ids = {"build_id": build["id"], "client_ref": f"s-{at}", "note": words}
            created(school.coach.post("/v1/trials", json=trial_payload(school, **ids)))
        coach, anybody = visiting(school.coach_key), visiting("")
        page = coach.get(f"/teams/{school.team_id}").text
        assert words in page
        for asked in ({"team_id": school.team_id}, {"season_id": school.season_id}):
            shown = anybody.get(make(coach, **asked))
            assert shown.status_code == 200
            assert "SECRET" not in shown.text

    def test_a_coachs_season_link_shows_what_the_coach_may_show(self, world, visiting):
        shown = visiting("").get(make(visiting(world.larch.coach_key), season_id=world.season_id))
        assert "Larch one" in shown.text
        assert "Birch" not in shown.text

    def test_a_leads_season_link_shows_schools_that_share_their_names(self, world, visiting):
        lead, anybody = visiting(world.lead_key), visiting("")
        link = make(lead, season_id=world.season_id)
        assert "Larch" not in anybody.get(link).text
        path = f"/v1/organisations/{world.larch.organisation_id}"
        named = {"sharing": "named"}
        assert world.lead.patch(path, json=named, headers={"If-Match": '"v1"'}).status_code == 200
        shown = anybody.get(link).text
        assert "Larch one" in shown
        assert "Birch" not in shown

    def test_a_leads_season_link_shows_no_trial_before_all_do(self, world, visiting):
        for school in (world.larch, world.birch):
            path = f"/v1/organisations/{school.organisation_id}"
            named = {"sharing": "named"}
            world.lead.patch(path, json=named, headers={"If-Match": "*"}).raise_for_status()
            rotor = {"build_id": world.reference_build_id, "kind": "reference"}
            for asked in ({}, rotor, rotor):
                created(school.coach.post("/v1/trials", json=trial_payload(school, **asked)))
        link = make(visiting(world.lead_key), season_id=world.season_id)

        def scale():
            page = visiting("").get(link).text
            return page[page.index("on one scale") : page.index("Birch school</h2>")]

        def send(volts):
            runs = [{"voltage_v": volts + step} for step in (0.0, 0.01, 0.02)]
            created(
                world.birch.coach.post("/v1/trials", json=trial_payload(world.birch, runs=runs))
            )

        assert "Birch one" in scale()
        send(1.5)
        before = scale()
        assert "those of" in before
        send(1.6)
        assert scale() == before

    def test_no_search_engine_and_no_shared_cache_keeps_it(self, world, visiting):
        shown = visiting("").get(make(visiting(world.lead_key), team_id=world.larch.team_id))
        assert shown.headers["x-robots-tag"] == "noindex, nofollow"
        assert shown.headers["cache-control"] == "private, max-age=60"
        assert re.findall('<form[^>]* action="([^"]*)"', shown.text) == ["/language"]
        assert 'href="/teams' not in shown.text

    def test_making_and_taking_back_is_in_the_record(self, world, visiting):
        coach = visiting(world.larch.coach_key)
        make(coach, team_id=world.larch.team_id)
        with coach.app.state.database.reading() as db:
            share_id = db.scalars(select(Share.id)).one()
        coach.post(f"/shares/{share_id}/revoke")
        entries = world.lead.get("/v1/audit", params={"thing": "share"}).json()["items"]
        assert [entry["action"] for entry in entries] == ["created", "revoked"]


def page_text(answer):
    """Return a refusal but for its request's id and the minute."""
    text = answer.text
    at = text.index("quote ")
    return answer.status_code, text[:at]


class TestABoard:
    def test_a_link_about_two_things_is_refused(self, world: World, visiting):
        asked = {"days": "30", "event_id": world.larch.event_id, "season_id": world.season_id}
        assert visiting(world.lead_key).post("/shares", data=asked).status_code == 422

    def test_it_is_read_without_a_key_and_shows_shared_names_only(self, world: World, visiting):
        link = make(visiting(world.lead_key), event_id=world.larch.event_id)
        answer = visiting("").get(link)
        assert answer.status_code == 200
        assert "Spring meeting" in answer.text
        assert 'class="board"' in answer.text
        assert "Larch one" not in answer.text
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-robots-tag"] == "noindex, nofollow"

    def test_a_coach_shows_the_own_teams(self, world: World, visiting):
        link = make(visiting(world.larch.coach_key), event_id=world.larch.event_id)
        page = visiting("").get(link).text
        assert "Larch one" in page
        assert "Birch one" not in page

    def test_it_ends_when_it_is_revoked(self, world: World, visiting):
        lead = visiting(world.lead_key)
        link = make(lead, event_id=world.larch.event_id)
        with lead.app.state.database.reading() as db:
            share_id = db.scalars(select(Share.id)).one()
        lead.post(f"/shares/{share_id}/revoke")
        assert visiting("").get(link).status_code == 404
