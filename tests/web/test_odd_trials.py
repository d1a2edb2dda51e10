"""A trial that does not fit the season: listed on the season's page, confirmed on its own."""

from tests.support.makers import World
from tests.support.odd_trials import submit_odd


def test_it_is_listed_until_it_is_confirmed_with_a_reason(world: World, visiting):
    coach, odd = visiting(world.larch.coach_key), submit_odd(world.larch)
    page = coach.get(f"/seasons/{world.season_id}").text
    assert "Trials that do not fit the season" in page
    assert f'href="/trials/{odd["id"]}"' in page
    assert coach.post(f"/trials/{odd['id']}/confirm", data={"reason": ""}).status_code == 422
    sent = coach.post(f"/trials/{odd['id']}/confirm", data={"reason": "seen twice"})
    assert sent.status_code == 303
    assert "do not fit the season" not in coach.get(f"/seasons/{world.season_id}").text
