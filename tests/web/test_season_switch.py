"""Pages are about today's season until somebody switches to another one."""

import pytest

from tests.support.makers import created, season_payload, session_payload

NEXT = {"name": "Next", "starts_on": "2090-01-01", "ends_on": "2090-05-01"}


@pytest.fixture
def browser(world, visiting):
    return visiting(world.lead_key)


def test_a_chosen_season_stays(world, browser):
    autumn = created(world.lead.post("/v1/seasons", json=season_payload(**NEXT)))
    assert "Switch" in browser.get("/today").text
    chosen = browser.post(
        "/season/choose",
        data={"season_id": autumn["id"], "back": f"/seasons/{world.season_id}"},
    )
    assert chosen.headers["location"] == "/season"
    assert browser.get("/season").headers["location"] == f"/seasons/{autumn['id']}"
    assert "Season: Next" in browser.get("/schools").text
    browser.post("/season/choose", data={"season_id": "", "back": "/today"})
    assert "Season: Spring 2026" in browser.get("/schools").text


def test_new_trial_keeps_its_builds_after_the_seasons_end(world, browser):
    """Today is after the world's season, which will not run again."""
    created(world.lead.post("/v1/seasons", json=season_payload(**NEXT)))
    assert world.larch.build_id in browser.get("/trials/new").text
    later = session_payload(world.larch, started_at="2026-05-01T10:00:00Z")
    session = created(world.larch.coach.post("/v1/sessions", json=later))["id"]
    assert session in browser.get("/trials/new").text


def test_the_page_of_another_season_offers_to_turn_the_pages_to_it(world, browser):
    payload = season_payload(
        **NEXT | {"name": "After next", "starts_on": "2091-01-01", "ends_on": "2091-05-01"}
    )
    opened = created(world.lead.post("/v1/seasons", json=payload))
    page = browser.get(f"/seasons/{opened['id']}").text
    assert "The other pages are about Spring 2026." in page
    assert "Register the first team" not in page
    turned = browser.post("/season/choose", data={"season_id": opened["id"], "back": "/schools"})
    assert turned.headers["location"] == "/schools"
    assert "Register the first team" in browser.get(f"/seasons/{opened['id']}").text


def test_the_next_season_is_suggested_in_the_clock_of_the_newest(world, browser):
    far = {"name": "Far", "starts_on": "2095-01-01", "ends_on": "2095-05-01"}
    created(world.lead.post("/v1/seasons", json=season_payload(**far, timezone="Asia/Tokyo")))
    assert '<option value="Asia/Tokyo" selected>' in browser.get("/seasons/new").text
