"""From an empty programme to the first trial, step by step on the page of today."""

import re

from tests.support.makers import World, created, season_payload


def steps(page):
    return re.findall(r'<li class="(done|next|)"><span>([^<]+)', page)


def key(lead, **asked):
    return created(lead.post("/v1/keys", json={"label": "Page", "role": "lead"} | asked))["key"]


class TestSteps:
    def test_a_lead_of_nothing_opens_a_season(self, lead, visiting):
        page = visiting(key(lead)).get("/today").text
        assert [state for state, _ in steps(page)] == ["next", "", "", "", ""]
        assert 'href="/seasons/new"' in page

    def test_the_next_one_follows_what_is_done(self, lead, visiting):
        created(lead.post("/v1/seasons", json=season_payload()))
        page = visiting(key(lead)).get("/today").text
        assert [state for state, _ in steps(page)] == ["done", "next", "", "", ""]
        assert "1 of 5 steps" in page
        assert 'href="/schools/new"' in page

    def test_a_coach_is_not_sent_to_a_page_of_leads(self, lead, visiting):
        created(lead.post("/v1/organisations", json={"name": "Hollowbrook"}))
        school = lead.get("/v1/organisations").json()["items"][0]["id"]
        coach = key(lead, role="coach", organisation_ids=[school])
        page = visiting(coach).get("/today").text
        assert [state for state, _ in steps(page)] == ["next", "done", "", "", ""]
        assert 'href="/seasons/new"' not in page

    def test_there_are_none_once_a_trial_is_stored(self, world: World, visiting):
        page = visiting(world.larch.coach_key).get("/today").text
        assert steps(page) == []
        assert 'href="/trials/new"' in page
