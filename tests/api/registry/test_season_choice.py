"""The default season: never an empty one before one with trials."""

from datetime import UTC, datetime

import pytest

from api.services.core.scope import Caller
from api.services.registry import season_choice
from api.services.trials import today
from tests.support.makers import created, season_payload, trial_payload

#: The world's season runs from 2 February to 29 May 2026, and its trials are of March.
WHILE, AFTER, NEXT = (
    datetime(2026, 4, 10, 12, tzinfo=UTC),
    datetime(2026, 6, 20, 12, tzinfo=UTC),
    datetime(2026, 9, 10, 12, tzinfo=UTC),
)
AUTUMN = {"name": "Autumn 2026", "starts_on": "2026-09-01", "ends_on": "2026-12-01"}
LEAD = Caller("key_x", "x", "lead", None)


@pytest.fixture
def meant(app_client):
    """Return the season chosen at a moment, the reason, and the other active seasons."""

    def choose(now, caller=LEAD, **asked):
        with app_client.app.state.database.reading() as db:
            choice = season_choice.choose(db, caller, now, **asked)
            names = [each.name for each in choice.acting]
            return choice.season.name if choice.season else None, choice.reason, names

    return choose


def held(world):
    """Store a trial that a check holds."""
    apart = [{"voltage_v": 1.2}, {"voltage_v": 1.9}]
    return created(
        world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, runs=apart))
    )


def test_without_any_season_none_is_meant(meant, app_client):
    assert meant(WHILE) == (None, "ended", [])


def test_the_next_season_hides_nothing_before_it_begins(world, meant):
    created(world.lead.post("/v1/seasons", json=season_payload(**AUTUMN)))
    assert meant(WHILE) == ("Spring 2026", "running", ["Spring 2026"])
    assert meant(AFTER) == ("Spring 2026", "latest_trial", ["Spring 2026"])


@pytest.mark.on_both
def test_questions_of_a_season_that_is_over_stand_beside_the_running_one(world, meant, app_client):
    created(world.lead.post("/v1/seasons", json=season_payload(**AUTUMN)))
    held(world)
    assert meant(NEXT) == ("Autumn 2026", "running", ["Autumn 2026", "Spring 2026"])
    with app_client.app.state.database.reading() as db:
        page = today.today(db, LEAD, NEXT)
    assert (page.season.name, page.held) == ("Autumn 2026", 1)


def test_of_two_that_run_the_one_with_trials_is_meant(world, meant):
    both = {"name": "Long year", "starts_on": "2026-01-01", "ends_on": "2026-12-31"}
    created(world.lead.post("/v1/seasons", json=season_payload(**both)))
    assert meant(WHILE) == ("Spring 2026", "running", ["Spring 2026", "Long year"])


def test_before_the_first_trial_the_coming_season_is_meant(world, meant):
    created(world.lead.post("/v1/seasons", json=season_payload(**AUTUMN)))
    nobody = Caller("key_y", "y", "coach", frozenset({"org_" + "0" * 26}))
    assert meant(AFTER, nobody)[:2] == ("Autumn 2026", "coming")
    assert meant(datetime(2027, 1, 9, tzinfo=UTC), nobody)[:2] == ("Autumn 2026", "ended")


def test_the_day_is_the_seasons_own(world, meant):
    pacific = {"name": "Pacific", "starts_on": "2026-06-20", "ends_on": "2026-06-30",
               "timezone": "Pacific/Auckland"}  # fmt: skip
    created(world.lead.post("/v1/seasons", json=season_payload(**pacific)))
    eve = datetime(2026, 6, 19, 13, tzinfo=UTC)  # 01:00 on the 20th in Auckland
    assert meant(eve)[:2] == ("Pacific", "running")


def test_a_named_season_is_taken_and_an_unknown_one_is_not(world, meant):
    autumn = created(world.lead.post("/v1/seasons", json=season_payload(**AUTUMN)))
    assert meant(WHILE, named=autumn["id"])[0] == "Autumn 2026"
    assert meant(WHILE, named="sea_x")[0] == "Spring 2026"


@pytest.mark.on_both
def test_a_schools_report_is_of_the_season_with_its_trials(world):
    """A team is registered for a season that begins in 2090, long before it does."""
    later = season_payload(name="Next", starts_on="2090-01-01", ends_on="2090-05-01")
    season = created(world.lead.post("/v1/seasons", json=later))
    fields = {"organisation_id": world.larch.organisation_id, "season_id": season["id"]}
    created(world.larch.coach.post("/v1/teams", json=fields | {"name": "Larch two"}))
    report = world.larch.coach.get(f"/v1/organisations/{world.larch.organisation_id}/report")
    assert (report.json()["name"], report.json()["trials_stored"]) == ("Spring 2026", 1)


def test_the_service_says_which_season_it_takes_and_why(world):
    body = world.larch.reader.get("/v1/seasons/current").json()
    assert (body["id"], body["chosen_by"]) == (world.season_id, "latest_trial")
    assert body["sentence"] == "No season is running today; Spring 2026 has the newest trial."
