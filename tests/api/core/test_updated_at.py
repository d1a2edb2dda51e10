"""When a thing was last changed."""

from datetime import UTC, datetime

import pytest

from tests.support.makers import World, created, trial_payload

pytestmark = pytest.mark.on_both


def updated(client, path):
    return client.get(path).json()["updated_at"]


def patch(client, path, **facts):
    changed = client.patch(path, json=facts, headers={"If-Match": client.get(path).headers["etag"]})
    assert changed.status_code == 200, changed.text
    return changed.json()


def ids_since(client, moment):
    asked = {"updated_since": moment.isoformat()}
    return [each["id"] for each in client.get("/v1/trials", params=asked).json()["items"]]


def test_a_new_thing_was_last_changed_when_it_was_stored(world: World):
    team = world.larch.coach.get(f"/v1/teams/{world.larch.team_id}").json()
    assert team["updated_at"] == team["created_at"]
    trial = created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch)))
    assert trial["updated_at"] >= trial["created_at"]  # the checks follow in the same moment


def test_a_change_moves_it(world: World):
    path = f"/v1/teams/{world.larch.team_id}"
    before = datetime.now(UTC)
    changed = patch(world.larch.coach, path, size=3)
    assert datetime.fromisoformat(changed["updated_at"]) >= before
    assert updated(world.larch.coach, path) == changed["updated_at"]


def test_a_new_trial_does_not_change_its_season(world: World):
    path = f"/v1/seasons/{world.season_id}"
    before = updated(world.lead, path)
    created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch)))
    assert updated(world.lead, path) == before
    assert patch(world.lead, path, name="Another name")["updated_at"] > before


def test_a_trial_changes_with_the_wind_of_its_session(world: World):
    """Its own facts stay, but its figures are others."""
    larch = world.larch
    trial = created(larch.coach.post("/v1/trials", json=trial_payload(larch)))
    moment = datetime.now(UTC)
    assert trial["id"] not in ids_since(larch.coach, moment)
    patch(larch.coach, f"/v1/sessions/{larch.session_id}", note="rain")
    assert trial["id"] not in ids_since(larch.coach, moment)
    patch(larch.coach, f"/v1/sessions/{larch.session_id}", wind_speed_start_m_s=4.4)
    assert trial["id"] in ids_since(larch.coach, moment)


def test_a_cached_trial_is_not_current_once_its_figures_changed(world: World):
    larch = world.larch
    path = f"/v1/trials/{created(larch.coach.post('/v1/trials', json=trial_payload(larch)))['id']}"
    cached = {"If-None-Match": larch.coach.get(path).headers["etag"]}
    assert larch.coach.get(path, headers=cached).status_code == 304
    patch(larch.coach, f"/v1/sessions/{larch.session_id}", wind_speed_start_m_s=4.4)
    renewed = larch.coach.get(path, headers=cached)
    assert renewed.status_code == 200
    assert renewed.json()["version"] == 1
