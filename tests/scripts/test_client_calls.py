"""What the client of the scripts asks a service: lists, questions, files, results."""

import sys
from datetime import datetime

import pytest
from client import (
    NotFound,
    Refused,
    Results,
    WrongUse,
)

from tests.support.gustbooks import SimulatedService, gustbook_of
from tests.support.makers import World, created, trial_payload


class TestLists:
    def test_pages_are_followed_as_they_are_needed(self):
        service = SimulatedService(
            (200, {"items": [{"id": 1}, {"id": 2}], "next": "c1"}),
            (200, {"items": [{"id": 3}], "next": None}),
        )
        things = service.client().each("/v1/teams", season_id="sea_1", name=None)
        assert next(things) == {"id": 1}
        assert len(service.asked) == 1
        assert [each["id"] for each in things] == [2, 3]
        assert [dict(request.url.params) for request in service.asked] == [
            {"limit": "200", "season_id": "sea_1"},
            {"limit": "200", "season_id": "sea_1", "cursor": "c1"},
        ]

    def test_real_pages_are_complete(self, world: World):
        gustbook = gustbook_of(world.lead)
        for number in range(4):
            created(world.lead.post("/v1/organisations", json={"name": f"School {number}"}))
        names = [each["name"] for each in gustbook.organisations()]
        assert [each["name"] for each in gustbook.each("/v1/organisations", limit=1)] == names
        assert len(set(names)) == 6

    def test_a_name_that_is_not_there_or_twice(self, world: World):
        gustbook = gustbook_of(world.lead)
        with pytest.raises(NotFound, match="there are: Birch one, Larch one"):
            gustbook.find("teams", "Alder")
        with pytest.raises(NotFound, match="no season Autumn; there are: Spring 2026"):
            gustbook.season("Autumn")
        same = {"organisation_id": world.birch.organisation_id, "season_id": world.season_id}
        created(world.lead.post("/v1/teams", json=same | {"name": "Larch one"}))
        with pytest.raises(WrongUse, match="name of several in teams"):
            gustbook.find("teams", "LARCH one")

    def test_the_trials_of_a_team(self, world: World):
        gustbook = gustbook_of(world.lead)
        ids = {each["id"] for each in gustbook.trials(team_id=world.larch.team_id)}
        assert ids == {each["id"] for each in gustbook_of(world.larch.coach).trials()}
        assert 0 < len(ids) < sum(1 for _ in gustbook.trials())

    def test_a_misspelt_filter_or_field_is_refused(self, world: World):
        gustbook = gustbook_of(world.lead)
        for wrong in ({"sesson_id": "x"}, {"fields": ["id", "nam"]}, {"sort": "colour"}):
            with pytest.raises(Refused) as refused:
                next(gustbook.teams(**wrong))
            assert refused.value.faults[0].pointer == f"/{next(iter(wrong))}"

    def test_in_an_order_with_chosen_fields_and_what_ids_point_at(self, world: World):
        gustbook = gustbook_of(world.lead)
        asked = {"sort": "-name", "fields": ["name"], "expand": ["organisation", "season"]}
        teams = list(gustbook.teams(**asked, limit=1))
        assert [team["name"] for team in teams] == ["Larch one", "Birch one"]
        assert teams[0].keys() == {"name", "organisation", "season"}

    def test_they_are_counted(self, world: World):
        gustbook = gustbook_of(world.lead)
        assert gustbook.count("/v1/teams") == 2
        assert gustbook.count("/v1/trials", team_id=world.larch.team_id, state="held") == 0


class TestQuestions:
    def test_a_question_is_answered(self, world: World):
        gustbook = gustbook_of(world.larch.coach)
        facts = trial_payload(world.larch, client_ref="mph", wind_speed_m_s=9.4)
        trial = gustbook.submit_trial(**facts)
        assert trial["state"] == "held"
        (flag,) = gustbook.flags(trial_id=trial["id"], severity="hold", state="open")
        with pytest.raises(Refused, match="reason"):
            gustbook.answer(flag, "confirm")
        assert gustbook.answer(flag["id"], "accept_fix")["state"] == "corrected"
        assert gustbook.get(f"/v1/trials/{trial['id']}")["wind_speed_m_s"] == pytest.approx(
            4.2, abs=0.01
        )


class TestFiles:
    def test_one_that_is_not_there(self, tmp_path):
        with pytest.raises(WrongUse, match="No such file"):
            SimulatedService().client().submit_file(tmp_path / "no.csv")

    def test_wrong_rows_store_nothing_unless_the_good_ones_are_asked_for(self, world: World):
        gustbook = gustbook_of(world.larch.coach)
        sheet = (b"team;session_started_at;client_ref;load_ohm;load_connected;voltage_v;"
                 b"wind_speed_m_s;adult_present\n"
                 b"Larch one;2026-03-12 14:30;good;22;yes;1.20;4.0;yes\n"
                 b"Larch one;2026-03-12 14:30;bad;22;yes;1.2O;4.0;yes\n")  # fmt: skip
        count = gustbook.count("/v1/trials")
        with pytest.raises(Refused) as refused:
            gustbook.submit_file(sheet)
        (fault,) = refused.value.faults
        assert (fault.row, fault.column, fault.value) == (3, "voltage_v", "1.2O")
        assert gustbook.count("/v1/trials") == count
        stored = gustbook.submit_file(sheet, partial=True)
        assert stored["trials"] == {"created": 1, "unchanged": 0, "error": 1}
        assert gustbook.count("/v1/trials") == count + 1

    def test_a_sheet_with_what_it_does_not_say(self, world: World, tmp_path):
        gustbook = gustbook_of(world.larch.coach)
        sheet = tmp_path / "evening.csv"
        sheet.write_text("team;load_ohm;voltage_v;wind_speed_m_s\nLarch one;22,0;1,20;4,0\n")
        same = {"build": "1", "session_started_at": "2026-03-12 14:30", "load_connected": "yes",
                "adult_present": "yes"}  # fmt: skip
        tried = gustbook.submit_file(sheet, dry_run=True, mapping={"same": same})
        assert tried["trials"] == {"created": 1, "unchanged": 0, "error": 0}
        before = sum(1 for _ in gustbook.trials())
        for expected in (1, 0):  # again, nothing changes
            stored = gustbook.submit_file(str(sheet), mapping={"same": same})
            assert stored["trials"]["created"] == expected
        assert sum(1 for _ in gustbook.trials()) == before + 1

    def test_a_workbook_is_sent_as_one(self):
        service = SimulatedService((200, {}))
        service.client().submit_file(b"PK\x03\x04", dry_run=True)
        assert "spreadsheetml" in service.asked[0].headers["content-type"]


class TestResults:
    def test_without_the_library_it_says_what_to_install(self, monkeypatch):
        for library, needed in (("pandas", "pandas pyarrow"), ("polars", "polars")):
            monkeypatch.setitem(sys.modules, library, None)
            with pytest.raises(WrongUse, match=f"{library} is not installed: .*{needed}"):
                Results(b"").to_frame(library)

    def test_csv_has_no_units(self):
        with pytest.raises(WrongUse, match="only a Parquet file"):
            _ = Results(b"", "csv").units

    @pytest.mark.parametrize("file_format", ["parquet", "csv"])
    def test_both_libraries_have_the_values_of_the_trials(self, file_format, world: World):
        asked = {"team_id": world.larch.team_id}
        results = gustbook_of(world.lead).results(file_format=file_format, **asked)
        trials = list(gustbook_of(world.lead).trials(**asked))
        powers = [each["result"]["power_w"] for each in trials]
        frame, polars_frame = results.to_frame(), results.to_frame("polars")
        assert frame["power_w"].tolist() == polars_frame["power_w"].to_list() == powers
        started = [datetime.fromisoformat(each["created_at"]) for each in trials]
        for moments in (frame["created_at"].tolist(), polars_frame["created_at"].to_list()):
            assert [each.replace(microsecond=0) for each in moments] == [
                each.replace(microsecond=0) for each in started
            ]

    def test_units_are_the_same_whatever_is_installed(self, world: World, monkeypatch):
        results = gustbook_of(world.lead).results()
        assert results.to_frame().attrs["units"] == results.units
        assert results.units["power_w"] == "W"
        monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
        assert Results(results.content).units == results.units
