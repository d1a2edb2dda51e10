"""Sheets as schools keep them, in seven languages: taken, asked about once, or refused with why."""

import json
from datetime import date, time

import pytest

from api.services.imports.encodings import read_text
from api.services.imports.layout.days import order_of, read_clock, read_day
from api.services.imports.layout.titles import read_title
from tests.bench.school_sheets import LEAST_TAKEN, running_schools, try_sheets
from tests.support.makers import World, build_payload, created
from tests.support.sheets import faults, send, stored

SEED, SHEETS = 1, range(1, 41)
GERMAN = """Messungen im Februar

Team;Datum;Uhrzeit;Prüfstand;Aufbau;Blattwinkel (°);Widerstand;U1 (V);U2 (V);Wind (km/h);\
Angeschlossen;Aufsicht;Bemerkung
Larch one;5.3.26;14:30;Larch hall;1;12;30Ω;1,20;1,19;15,1;ja;ja;lief gut
;;;;;14;30Ω;1,25;1,24;15,1;ja;ja;
Mittelwert;;;;;;;1,22;1,21;;;;
"""


def test_nothing_is_stored_wrong_and_nearly_all_are_taken():
    with running_schools() as schools:
        report = try_sheets(schools, SEED, SHEETS)
    assert report.outcomes["wrong"] == 0, report.listed
    assert report.taken >= LEAST_TAKEN, report.listed


def tried(coach, content, **mapping):
    chosen = {"mapping": json.dumps(mapping)} if mapping else {}
    answer = send(coach, content, dry_run="true", **chosen)
    assert answer.status_code == 200, answer.text
    return answer.json()


class TestOneSheet:
    def test_each_guess_is_listed_with_its_rows(self, world: World):
        body = tried(world.larch.coach, GERMAN)
        assert body["outcomes"]["error"] == 0
        assert body["trials"]["created"] == 2
        listed = " ".join(body["understood"]["guesses"])
        assert "Row 1 is above the titles" in listed
        assert "Team is empty in row 5" in listed
        assert "Row 6 summarises others" in listed
        assert "has no unit" not in listed  # its cells have one: 30Ω

    def test_a_column_without_a_unit_is_listed(self, world: World):
        body = tried(world.larch.coach, GERMAN.replace("30Ω", "30"))
        assert "Widerstand has no unit" in " ".join(body["understood"]["guesses"])

    def test_a_remark_is_not_read_unless_it_is_chosen(self, world: World):
        (column,) = tried(world.larch.coach, GERMAN)["understood"]["not_read"]
        assert (column["title"], column["why"]) == ("Bemerkung", "remark")
        columns = {"columns": {"Bemerkung": "note"}}
        created(send(world.larch.coach, GERMAN, mapping=json.dumps(columns)))
        notes = [each["note"] for each in stored(world)]
        assert "lief gut" in notes

    def test_an_order_of_day_and_month_is_asked_once(self, world: World):
        content = GERMAN.replace("5.3.26", "3/5/2026")
        asked = tried(world.larch.coach, content)["understood"]["asks_day_order"]
        assert asked["readings"] == {"day_first": "2026-05-03", "month_first": "2026-03-05"}
        body = tried(world.larch.coach, content, order="month_first")
        assert body["understood"]["first_rows"][0]["session_started_at"] == "2026-03-05 14:30"

    def test_an_order_that_another_day_proves_is_not_asked(self, world: World):
        rows = GERMAN.replace("5.3.26", "05/03/2026").splitlines()
        rows[4] = "Larch one;25/03/2026;14:30;Larch hall;1;14;30Ω;1,25;1,24;15,1;ja;ja;"
        body = tried(world.larch.coach, "\n".join(rows))
        assert "asks_day_order" not in body["understood"]
        assert body["understood"]["first_rows"][0]["session_started_at"] == "2026-03-05 14:30"

    def test_what_the_sheet_does_not_say_is_said_once_for_all_rows(self, world: World):
        lines = [line.split(";") for line in GERMAN.splitlines()[2:5]]
        content = "\n".join(";".join([*cells[:2], *cells[3:11]]) for cells in lines)
        body = tried(world.larch.coach, content)
        assert {"time_of_day", "adult_present"} <= set(body["understood"]["asks_same"])
        same = {"time_of_day": "14:30", "adult_present": "yes"}
        done = tried(world.larch.coach, content, same=same)
        assert done["outcomes"]["error"] == 0

    def test_the_newest_build_of_each_team_may_be_said(self, world: World):
        newest = build_payload(world.larch.turbine_id)
        created(world.larch.coach.post("/v1/builds", json=newest))
        content = GERMAN.replace("Aufbau;", "").replace("Larch hall;1;", "Larch hall;")
        content = content.replace(";;;;;14;", ";;;;14;")
        got = faults(send(world.larch.coach, content))
        assert (4, "build", "missing") in got
        done = tried(world.larch.coach, content, same={"build": "newest"})
        assert done["outcomes"]["error"] == 0

    def test_two_columns_of_one_meaning_are_never_chosen_from(self, world: World):
        content = GERMAN.replace("Bemerkung", "Last (Ohm)").replace("lief gut", "22")
        got = faults(send(world.larch.coach, content, mode="partial"))
        assert {(3, "Widerstand", "column_twice"), (3, "Last (Ohm)", "column_twice")} <= set(got)

    @pytest.mark.parametrize("title", ["Wind (furlong)", "Blattwinkell"])
    def test_a_column_that_may_matter_blocks_all_rows(self, title, world: World):
        content = GERMAN.replace("Wind (km/h)" if "Wind" in title else "Blattwinkel (°)", title)
        before = len(stored(world))
        if title == "Blattwinkell":  # no slip of an English name: listed, and its pitch is missing
            assert tried(world.larch.coach, content)["understood"]["not_read"][0]["title"] == title
            return
        got = faults(send(world.larch.coach, content, mode="partial"))
        assert (3, title, "unknown_column") in got
        assert len(stored(world)) == before

    def test_a_decimal_comma_that_cuts_a_row_is_refused(self, world: World):
        content = GERMAN.replace(";", ",")
        codes = {code for _, _, code in faults(send(world.larch.coach, content))}
        assert "cell_count" in codes

    @pytest.mark.parametrize(
        "mapping",
        ["[", "[]", '{"colour": 1}', '{"columns": {"Team": "colour"}}', '{"order": "year_first"}',
         '{"same": {"voltage_v": "1.2"}}', '{"same": []}', "[" * 20_000],
    )  # fmt: skip
    def test_choices_that_no_sheet_has(self, mapping, world: World):
        answer = send(world.larch.coach, GERMAN, mapping=mapping)
        assert [error["code"] for error in answer.json()["errors"]] == ["mapping"]


class TestTitles:
    # Words of the trade in seven languages; common practice, no source.
    @pytest.mark.parametrize(
        ("title", "key", "number"),
        [
            ("Wind (m/s)", "wind_speed_m_s", None), ("Temp C", "air_temperature_c", None),
            ("Connected", "load_connected", None), ("Spannung [mV]", "voltage_mv", None),
            ("U2 / V", "voltage_v", 2), ("Tensión 3 (V)", "voltage_v", 3),
            ("Weerstand in kΩ", "load_kohm", None), ("Pression (mbar)", "pressure_hpa", None),
            ("Temperature (K)", "air_temperature_k", None), ("R (Ω)", "load_ohm", None),
            ("Ângulo da pá", "pitch_deg", None), ("Messung 2", "voltage_v", 2),
            ("Velocità del vento (km/h)", "wind_speed_km_h", None),
        ],
    )  # fmt: skip
    def test_by_meaning(self, title, key, number):
        found = read_title(title)
        assert (found.key, found.number) == (key, number)

    @pytest.mark.parametrize(
        ("title", "why"),
        [("Wind (furlong)", "unit"), ("Élève", "person"), ("Puissance (mW)", "calculated"),
         ("Opmerkingen", "remark"), ("Shoe size", "unknown"), ("R", "unknown")],
    )  # fmt: skip
    def test_what_is_not_read(self, title, why):
        assert (read_title(title).column, read_title(title).why) == ("", why)


class TestDays:
    # ISO 8601 for the first; Excel keeps 1 January 2026 as 46023 (its function DATEVALUE).
    @pytest.mark.parametrize(
        ("text", "day", "clock"),
        [
            ("2026-03-05 14:30", date(2026, 3, 5), time(14, 30)),
            ("5.3.26", date(2026, 3, 5), None), ("13/3/2026", date(2026, 3, 13), None),
            ("3/13/2026 2:30 PM", date(2026, 3, 13), time(14, 30)),
            ("46023", date(2026, 1, 1), None), ("46023.75", date(2026, 1, 1), time(18, 0)),
            ("5. März 2026", date(2026, 3, 5), None),
            ("5 de marzo de 2026", date(2026, 3, 5), None), ("5 mrt. 2026", date(2026, 3, 5), None),
            ("March 5th, 2026", date(2026, 3, 5), None),
        ],
    )  # fmt: skip
    def test_as_people_write_them(self, text, day, clock):
        written = read_day(text)
        assert (written.day, written.clock) == (day, clock)

    @pytest.mark.parametrize("text", ["31/2/2026", "Larch", "5.3.", "14:30", "12", "99999", ""])
    def test_what_is_no_day(self, text):
        assert read_day(text) is None

    def test_a_proof_of_the_order(self):
        days = [read_day("03/05/2026"), read_day("25/03/2026")]
        assert order_of(days) == "day_first"
        assert order_of([*days, read_day("03/25/2026")]) is None

    @pytest.mark.parametrize("text", ["24:00", "7", "13:00 PM", "0:75", "noon"])
    def test_what_is_no_time(self, text):
        assert read_clock(text) is None


class TestEncodings:
    @pytest.mark.parametrize(
        "name", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "mac_roman"]
    )
    def test_each_is_found(self, name):
        text = "Équipe;Größe;Température °C;Tensão;sì"
        found = read_text(text.encode(name))
        assert found is not None
        assert found[0] == text

    @pytest.mark.parametrize("text", ["Equipo,Ángulo\nLarch,12\n", "Equipo,Adulto\nLarch,sí\n"])
    @pytest.mark.parametrize("name", ["cp1252", "mac_roman"])
    def test_a_word_that_we_know_decides_between_two(self, name, text):
        assert read_text(text.encode(name)) == (text, name)


class TestRemembered:
    def test_choices_are_used_for_the_next_sheet_with_the_same_titles(self, world: World):
        chosen = {"columns": {"Bemerkung": "note"}}
        created(send(world.larch.coach, GERMAN, mapping=json.dumps(chosen)))
        later = GERMAN.replace("5.3.26", "12.3.26").replace("lief gut", "wenig Wind")
        done = created(send(world.larch.coach, later))
        assert "chose for such a sheet" in done["understood"]["guesses"][0]
        assert "wenig Wind" in [each["note"] for each in stored(world)]

    def test_no_other_school_gets_them(self, world: World):
        chosen = {"columns": {"Bemerkung": "note"}}
        created(send(world.larch.coach, GERMAN, mapping=json.dumps(chosen)))
        theirs = GERMAN.replace("Larch", "Birch")
        guesses = tried(world.birch.coach, theirs)["understood"]["guesses"]
        assert "chose for such a sheet" not in " ".join(guesses)

    def test_an_adult_is_said_again(self, world: World):
        content = GERMAN.replace(";Aufsicht", "").replace(";ja;ja;", ";ja;")
        same = {"same": {"adult_present": "yes"}, "order": "day_first"}
        created(send(world.larch.coach, content, mapping=json.dumps(same)))
        later = content.replace("5.3.26", "12.3.26")
        assert "adult_present" in tried(world.larch.coach, later)["understood"]["asks_same"]
        assert faults(send(world.larch.coach, later))[0][2] == "supervisor_missing"
