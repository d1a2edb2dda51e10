"""The page that compares two to six teams: pairs as the API states them, nothing that is hidden."""

import pytest

from api.services.reporting import chosen_teams
from tests.support.makers import World, created, trial_payload


@pytest.fixture
def season(world: World):
    """Return a world whose schools are joined by the reference rotor: Larch is far ahead."""
    for _ in range(4):
        for school, volts in ((world.larch, 1.2), (world.birch, 1.5)):
            rotor = {"kind": "reference", "build_id": world.reference_build_id}
            readings = [{"voltage_v": volts}] * 3
            created(
                school.coach.post("/v1/trials", json=trial_payload(school, runs=readings, **rotor))
            )
            created(school.coach.post("/v1/trials", json=trial_payload(school)))
    return world


def address(world, *schools, ending=""):
    chosen = "&".join(f"team_id={school.team_id}" for school in schools)
    return f"/compare{ending}?season_id={world.season_id}&{chosen}"


class TestRefusals:
    @pytest.mark.parametrize("query", ["", "?team_id=team_nobody", "?team_id="])
    def test_without_a_team_it_says_how_to_choose(self, season: World, visiting, query):
        for ending in ("", ".pdf"):
            answer = visiting(season.lead_key).get(f"/compare{ending}{query}")
            assert answer.status_code == 200
            assert "Choose two to six teams" in answer.text

    def test_another_season(self, season: World, visiting):
        path = f"/compare?season_id=sea_nobody&team_id={season.larch.team_id}"
        assert visiting(season.lead_key).get(path).status_code == 404

    def test_a_hidden_team_is_not_compared(self, season: World, visiting):
        coach = visiting(season.larch.coach_key)
        page = coach.get(address(season, season.larch, season.birch)).text
        assert "Choose two to six teams" in page
        assert "Birch" not in page

    def test_more_than_six(self, season: World, visiting, monkeypatch):
        monkeypatch.setattr(chosen_teams, "MOST", 1)
        page = visiting(season.lead_key).get(address(season, season.larch, season.birch)).text
        assert "Only the first six" in page


class TestCompared:
    def test_a_pair_is_stated_as_the_api_states_it(self, season: World, visiting):
        (pair,) = season.lead.get(f"/v1/seasons/{season.season_id}/comparison").json()["pairs"]
        assert pair["statement"] == "a_ahead"
        page = visiting(season.lead_key).get(address(season, season.birch, season.larch)).text
        assert pair["sentence"] in page

    def test_of_another_school_only_what_it_shares_is_shown(self, world: World, visiting):
        path = f"/v1/organisations/{world.birch.organisation_id}"
        world.lead.patch(path, json={"sharing": "named"}, headers={"If-Match": '"v1"'})
        coach = visiting(world.larch.coach_key)
        page = coach.get(address(world, world.larch, world.birch)).text
        assert "Birch one" in page
        assert "shares only the comparable power" in page
        assert f"/teams/{world.birch.team_id}" not in page

    def test_a_team_can_be_added(self, season: World, visiting):
        page = visiting(season.lead_key).get(address(season, season.larch)).text
        assert f'<option value="{season.birch.team_id}">' in page

    def test_as_a_pdf(self, season: World, visiting):
        path = address(season, season.larch, season.birch, ending=".pdf")
        answer = visiting(season.lead_key).get(path)
        assert answer.content.startswith(b"%PDF-")
