"""Large seasons: callers who wait for a newer answer, and those shown an older one."""

import time

import pytest

from api.services.core import refreshing
from api.services.measurements import season_trials
from api.services.season import fit_start, older_answers
from tests.support.databases import make_lead_key
from tests.support.makers import World, created, trial_payload


@pytest.fixture
def large(monkeypatch):
    """Let every season be a large one."""
    for module in (season_trials, fit_start, older_answers):
        monkeypatch.setattr(module, "LARGE_SEASON", 0)
    monkeypatch.setattr(refreshing, "LEAST_PAUSE_S", 0.3)


def stored(client, world):
    """Return the number of trials in the season's report, and its revision."""
    report = client.get(f"/v1/seasons/{world.season_id}/report")
    assert report.status_code == 200, report.text
    return report.json()["trials_stored"]


def send(school, volts=1.21):
    asked = trial_payload(school, runs=[{"voltage_v": volts + at / 1000} for at in range(3)])
    created(school.coach.post("/v1/trials", json=asked))


def in_the_end(client, world, expected):
    until = time.monotonic() + 20
    while stored(client, world) != expected:
        assert time.monotonic() < until, "no newer answer came"
        time.sleep(0.05)


class TestASmallSeason:
    def test_everybody_sees_everything_at_once(self, world: World):
        assert stored(world.lead, world) == 2
        send(world.larch)
        assert stored(world.lead, world) == 3


@pytest.mark.usefixtures("large")
class TestALargeOne:
    def test_the_writer_sees_it_at_once(self, world: World):
        before = stored(world.larch.coach, world)
        send(world.larch)
        assert stored(world.larch.coach, world) == before + 1

    def test_so_does_everybody_of_the_school(self, world: World):
        before = stored(world.larch.reader, world)
        send(world.larch)
        assert stored(world.larch.reader, world) == before + 1

    def test_others_are_shown_the_answer_of_before_and_the_newer_one_soon(self, world: World):
        assert stored(world.lead, world) == 2
        send(world.larch)
        assert stored(world.lead, world) == 2
        in_the_end(world.lead, world, 3)

    def test_a_lead_who_wrote_sees_it_at_once(self, world: World):
        assert stored(world.lead, world) == 2
        asked = trial_payload(world.larch, runs=[{"voltage_v": 1.22}] * 3)
        created(world.lead.post("/v1/trials", json=asked))
        assert stored(world.lead, world) == 3

    def test_facts_of_the_programme_are_seen_by_everybody_at_once(
        self, world: World, app_client, signed
    ):
        other = signed(make_lead_key(app_client))
        assert stored(world.lead, world) == 2
        path = f"/v1/seasons/{world.season_id}"
        version = {"If-Match": other.get(path).headers["etag"]}
        assert other.patch(path, json={"name": "Renamed"}, headers=version).status_code == 200
        report = world.lead.get(f"/v1/seasons/{world.season_id}/report").json()
        assert report["name"] == "Renamed"

    def test_what_is_shared_no_more_is_not_shown_any_more(self, world: World):
        """A name that was changed or is no longer shared must be gone at once, for everybody."""
        path = f"/v1/organisations/{world.larch.organisation_id}"

        def share(how):
            version = {"If-Match": world.lead.get(path).headers["etag"]}
            answer = world.lead.patch(path, json={"sharing": how}, headers=version)
            assert answer.status_code == 200

        def compared():
            return world.birch.coach.get(f"/v1/seasons/{world.season_id}/comparison").text

        share("named")
        assert "Larch one" in compared()
        share("own")
        assert "Larch one" not in compared()

    def test_an_answer_is_never_older_than_a_minute(self, world: World, monkeypatch):
        assert stored(world.lead, world) == 2
        send(world.larch)
        monkeypatch.setattr(older_answers, "MOST_BEHIND_S", 0.0)
        assert stored(world.lead, world) == 3

    def test_after_a_gap_in_what_is_known_all_is_made_again(self, world: World, app_client):
        from api.services.core.changes import forget_changes

        assert stored(world.lead, world) == 2
        send(world.larch)
        forget_changes()
        assert stored(world.lead, world) == 3
