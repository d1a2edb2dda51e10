"""The season's page: who leads, the figures below, and a table that can be narrowed and sorted."""

import re

import pytest

from api.models.season.comparison import PairRead
from api.models.season.reports import FairPlace, FairTable
from api.web.glance import who_leads
from api.web.season_table import View
from api.web.views import season as season_views
from tests.support.makers import World, created, trial_payload


def place(name, power_w, places=(1, 2), statement="too_close", group=0):
    pair = PairRead.model_construct(statement=statement, probability_a_ahead=0.96)
    return FairPlace.model_construct(
        name=name, team_id=name, group=group, place=1, places=places, fair_power_w=power_w,
        ahead_of_next=pair,
    )  # fmt: skip


def table(*places):
    return FairTable.model_construct(places=list(places), available=True)


class TestWhoLeads:
    def test_nobody_without_a_comparable_power(self):
        assert "Run the reference rotor" in who_leads(table(place("Indigo", None)))

    def test_nobody_where_groups_are_separate(self):
        words = who_leads(table(place("Indigo", 0.1), place("Teal", 0.2, group=1)))
        assert "2 separate groups" in words

    def test_the_only_team(self):
        assert who_leads(table(place("Indigo", 0.1))).startswith("Indigo is the only team")

    def test_one_that_is_ahead(self):
        shown = table(place("Indigo", 0.2, (1, 1), "a_ahead"), place("Teal", 0.1, (2, 2)))
        assert who_leads(shown) == "Indigo leads, ahead of Teal (96 % sure)."

    def test_several_that_may_be_first(self):
        shown = table(place("Indigo", 0.2), place("Teal", 0.19), place("Slate", 0.1, (3, 3)))
        assert who_leads(shown) == "Indigo and Teal are too close to call for first place."

    def test_so_many_that_names_would_not_help(self):
        shown = table(*(place(f"T{at}", 0.2, (1, 9)) for at in range(9)))
        assert who_leads(shown) == "9 teams can still be first; T0 has the highest value."


@pytest.mark.parametrize(
    "typed",
    [{"sort": "drop table"}, {"page": "-1"}, {"page": "0"}, {"page": "9" * 40}, {"page": "1e3"}],
)
def test_what_an_address_does_not_know_is_ignored(typed):
    assert View.of(typed) == View()


def test_a_view_is_in_the_address_without_its_usual_values():
    view = View.of({"q": " Lar ", "sort": "name"})
    assert view.query() == {"q": "Lar", "sort": "name"}
    assert view.query(sort="place", page=2) == {"q": "Lar", "page": 2}


@pytest.fixture
def season(world: World):
    """Return a world whose two schools are joined by the reference rotor."""
    for school in (world.larch, world.birch):
        asked = {"kind": "reference", "build_id": world.reference_build_id}
        created(school.coach.post("/v1/trials", json=trial_payload(school, **asked)))
    return world


def ranked(page):
    """Return the names in the table, in its order."""
    table_html = page[page.index('<table class="rank">') : page.index("</table>")]
    found = re.findall(r'<th scope="row">(?:<a href="/teams/[^"]+">)?([^<]+)', table_html)
    return [name.strip() for name in found]


class TestThePage:
    def test_an_unknown_school_or_name_matches_no_team(self, season: World, visiting):
        lead = visiting(season.lead_key)
        for query in ("q=nobody", "school=org_nobody"):
            page = lead.get(f"/seasons/{season.season_id}?{query}").text
            assert "No team matches." in page
            assert '<table class="rank">' not in page

    def test_text_in_a_search_stays_text(self, season: World, visiting):
        page = visiting(season.lead_key).get(f"/seasons/{season.season_id}?q=<script>x</script>")
        assert "<script>x" not in page.text

    def test_it_is_narrowed_and_sorted_by_its_address(self, season: World, visiting):
        lead, path = visiting(season.lead_key), f"/seasons/{season.season_id}"
        assert ranked(lead.get(f"{path}?sort=name").text) == ["Birch one", "Larch one"]
        assert ranked(lead.get(f"{path}?q=lar").text) == ["Larch one"]
        school = season.birch.organisation_id
        assert ranked(lead.get(f"{path}?school={school}").text) == ["Birch one"]

    def test_a_coach_sees_the_own_team_only(self, season: World, visiting):
        page = visiting(season.larch.coach_key).get(f"/seasons/{season.season_id}").text
        assert ranked(page) == ["Larch one"]
        assert "Birch" not in page

    def test_its_figures_lead_to_their_pages(self, season: World, visiting):
        held = trial_payload(season.larch, runs=[{"voltage_v": 1.2}, {"voltage_v": 0.8}])
        created(season.larch.coach.post("/v1/trials", json=held))
        page = visiting(season.larch.coach_key).get(f"/seasons/{season.season_id}").text
        assert re.search(r'href="/questions\?severity=hold"><strong>1</strong>', page)

    def test_of_many_schools_only_the_names_are_on_it(self, season: World, visiting, monkeypatch):
        lead, path = visiting(season.lead_key), f"/seasons/{season.season_id}"
        few = lead.get(path).text
        monkeypatch.setattr(season_views, "MOST_INLINE", 1)
        many = lead.get(path).text
        school = f'<a href="/schools/{season.birch.organisation_id}">Birch school</a>'
        assert (school in few, school in many) == (False, True)
        assert few.count('class="cards"') > many.count('class="cards"')
