"""The current build is the newest registered one, and each figure names its build."""

import pytest

from analysis.season.estimates import Figure
from analysis.season.summary import LEFT_OUT
from api.messages import has_key
from api.models.registry.seasons import Season
from api.models.reporting.team_sheet import TeamSheet
from api.models.season.progress import ChangeRead
from api.models.season.reports import SeasonReport
from api.models.trials.trials import TrialRead
from api.services.core.scope import Caller
from api.services.registry.current_builds import current_builds
from api.services.reporting.documents.season import season_document
from api.services.reporting.documents.team import team_document
from api.services.season import counting
from api.services.season.fair_table import fair_table
from api.services.season.progress import _plateau
from api.services.season.ranking import comparable_builds
from tests.support.makers import World, build_payload, created, session_payload, trial_payload

NOTE = "build 1, 5 March 2026; build 2 has no counted trial yet"


def report(client, world, **asked):
    return client.get(f"/v1/seasons/{world.season_id}/report", params=asked).json()


def new_build(school):
    return created(school.coach.post("/v1/builds", json=build_payload(school.turbine_id)))


def texts(document):
    return [str(block) for block in document.blocks]


class TestAnOlderBuild:
    def test_the_table_says_of_which_build_and_of_when(self, world: World):
        new_build(world.larch)
        reported = report(world.larch.coach, world)
        (team,) = reported["organisations"][0]["teams"]
        assert (team["current_build_number"], team["current"]["build_number"]) == (2, 1)
        assert team["current"]["latest_at"] == "2026-03-05T14:30:00Z"
        text = "\n".join(texts(season_document(SeasonReport.model_validate(reported), [])))
        assert NOTE in text
        assert "current build" not in text

    def test_places_at_a_bench_and_on_the_common_scale_say_it_too(self, world: World):
        new_build(world.larch)
        reported = report(world.larch.coach, world)
        (place,) = reported["benches"][0]["order"]
        assert (place["build_number"], place["untested_build_number"]) == (1, 2)
        assert {each["untested_build_number"] for each in reported["comparison"]["places"]} == {2}

    def test_the_teams_page_says_it(self, world: World):
        new_build(world.larch)
        sheet = world.larch.coach.get(f"/v1/teams/{world.larch.team_id}/report").json()
        text = "\n".join(texts(team_document(TeamSheet.model_validate(sheet))))
        assert f"B{NOTE[1:]}" in text

    def test_once_it_counts_the_note_goes(self, world: World):
        build = new_build(world.larch)
        later = session_payload(world.larch, started_at="2026-03-12T14:30:00Z")
        session = created(world.larch.coach.post("/v1/sessions", json=later))["id"]
        runs = [{"voltage_v": 1.3}, {"voltage_v": 1.31}, {"voltage_v": 1.29}]
        payload = trial_payload(world.larch, build_id=build["id"], session_id=session, runs=runs)
        created(world.larch.coach.post("/v1/trials", json=payload))
        (team,) = report(world.larch.coach, world)["organisations"][0]["teams"]
        assert team["untested_build_number"] is None
        assert (team["current_build_number"], team["current"]["build_number"]) == (2, 2)


class TestTheNextRow:
    def test_it_is_the_next_one_that_is_shown(self, world: World, app_client):
        """Of three teams at one bench, a part of the table shows the first and the last."""
        coach = world.larch.coach
        for name, volts in (("Middle", 1.5), ("Strong", 1.8)):
            fields = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
            team = created(coach.post("/v1/teams", json=fields | {"name": name}))
            machine = {"team_id": team["id"], "name": f"{name} turbine"}
            turbine = created(coach.post("/v1/turbines", json=machine))
            build = created(coach.post("/v1/builds", json=build_payload(turbine["id"])))
            runs = [{"voltage_v": volts}, {"voltage_v": volts + 0.01}, {"voltage_v": volts - 0.01}]
            asked = trial_payload(world.larch, build_id=build["id"], runs=runs)
            created(coach.post("/v1/trials", json=asked))
        with app_client.app.state.database.reading() as db:
            season = db.get_one(Season, world.season_id)
            builds = comparable_builds(db, Caller("key_x", "x", "lead", None), season)
            listed = [builds.read(each) for of in builds.groups for each in of]
            every = {build.team_id: build.team_name for build in listed}
            outer = {team_id for team_id, name in every.items() if name in ("Strong", "Larch one")}
            three = {team_id for team_id, name in every.items() if name != "Birch one"}
            fields = fair_table(builds, three, current_builds(db, season.id)).places
            strong, larch = fair_table(builds, outer, current_builds(db, season.id)).places
        assert [place.name for place in fields] == ["Strong", "Middle", "Larch one"]
        assert fields[0].ahead_of_next.b == fields[1].build_id
        assert (strong.place, larch.place) == (1, 3)
        assert strong.ahead_of_next.b == larch.build_id
        assert (
            strong.ahead_of_next.probability_a_ahead > fields[0].ahead_of_next.probability_a_ahead
        )
        assert larch.ahead_of_next is None


class TestEvents:
    def test_a_result_is_on_the_teams_page_its_file_and_its_link(self, world: World):
        day = session_payload(world.larch, started_at="2026-05-16T10:00:00Z")
        session = created(world.lead.post("/v1/sessions", json=day))["id"]
        read = {"load_ohm": 30.1, "load_connected": True, "runs": [{"voltage_v": 1.3}]}
        run = {"position": 1, "build_id": world.larch.build_id, "trial": read}
        official = {"session_id": session, "runs": [run]}
        posted = world.lead.post(f"/v1/events/{world.larch.event_id}/results", json=official)
        assert posted.status_code in (200, 201), posted.text
        sheet = world.larch.coach.get(f"/v1/teams/{world.larch.team_id}/report").json()
        (result,) = sheet["events"]
        assert (result["place"], result["of_teams"]) == (1, 1)
        assert "place 1 of 1 with" in result["sentence"]
        page = world.larch.coach.get(f"/v1/teams/{world.larch.team_id}/report?format=html").text
        assert result["sentence"] in page


class TestWhatCounts:
    def test_pages_know_every_reason_that_reports_have(self):
        for code in LEFT_OUT:
            for key in ("left_out", "report_left_out", "counted"):
                assert has_key(f"{key}.{code}")
            assert has_key(f"trial.counts_{code}")

    @pytest.mark.parametrize(
        ("changed", "code"),
        [
            ({}, ""),
            ({"kind": "pitch"}, "other_kind"),
            ({"wind_speed_m_s": 5.5, "runs": [{"voltage_v": 1.7}]}, "out_of_range"),
            ({"runs": [{"voltage_v": 1.2}, {"voltage_v": 1.9}]}, "held"),
        ],
    )
    def test_a_trial_says_the_same_as_the_report(self, changed, code, world: World):
        runs = {"runs": [{"voltage_v": 1.22}, {"voltage_v": 1.21}, {"voltage_v": 1.23}]}
        before = report(world.larch.coach, world)
        trial = created(
            world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, **runs | changed))
        )
        assert counting.left_out(TrialRead.model_validate(trial)) == code
        after = report(world.larch.coach, world)
        assert after["trials"] - before["trials"] == (code == "")
        assert [each["code"] for each in after["left_out"]] == ([code] if code else [])


def test_a_gain_that_no_change_shows_is_not_claimed():
    figures = [Figure(str(at), power, power, 0.03, 0.14, 0.14, (0, 1), 1, 1, "b")
               for at, power in enumerate((0.050, 0.051, 0.049, 0.056))]  # fmt: skip
    unclear = [ChangeRead.model_construct(status="unclear")] * 3
    assert _plateau(figures, unclear).status == "unclear"
    shown = [*unclear, ChangeRead.model_construct(status="more")]
    assert _plateau(figures, shown).status == "gaining"
