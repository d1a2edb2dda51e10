"""Pages that show a complete list show its newest rows too, however long it is."""

import pytest

from api.services.core import pages
from tests.support.makers import World, created


@pytest.fixture(autouse=True)
def two_at_once(monkeypatch):
    monkeypatch.setattr(pages, "AT_ONCE", 2)


def test_the_newest_change_of_a_thing(world: World, visiting):
    path = f"/v1/teams/{world.larch.team_id}"
    for size in range(2, 8):
        tag = world.larch.coach.get(path).headers["etag"]
        changed = world.larch.coach.patch(path, json={"size": size}, headers={"If-Match": tag})
        assert changed.status_code == 200, changed.text
    page = visiting(world.larch.coach_key).get(f"/teams/{world.larch.team_id}").text
    assert "6 → 7" in page


def test_the_newest_key_and_link(world: World, visiting):
    school = world.larch.organisation_id
    for number in range(5):
        asked = {"label": f"Reader {number}", "role": "reader", "organisation_ids": [school]}
        created(world.lead.post("/v1/keys", json=asked))
    assert "Reader 4" in visiting(world.lead_key).get("/keys").text


def test_the_newest_wind_grid(world: World, visiting):
    bench = world.larch.bench_id
    for speed in (4.0, 4.1, 4.2, 4.3, 4.47):
        points = [{"x_radii": 0, "y_radii": 0, "wind_speed_m_s": speed}]
        created(world.larch.coach.post(f"/v1/benches/{bench}/wind-grids", json={"points": points}))
    assert "4.47" in visiting(world.larch.coach_key).get(f"/benches/{bench}").text
