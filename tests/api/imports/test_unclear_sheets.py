"""Sheets that are easily taken wrong: refused, asked about, or read as their author meant them."""

import io
from datetime import datetime, time

import openpyxl
import pytest

from api.services.imports.layout.choices import Choices
from api.services.imports.preparing import prepare_file


def read(text, **choices):
    """Return what an import would check of a sheet."""
    body = text if isinstance(text, bytes) else text.replace("|", "\n").encode()
    return prepare_file(body, 1000, choices=Choices(**choices))


def trials_of(text, *names, **choices):
    """Return the named cells of the rows of each trial."""
    return [
        [tuple(row.typed.get(name) for name in names) for row in trial.rows]
        for trial in read(text, **choices).trials
    ]


def codes(text):
    """Return the code and column of each fault of the sheet and of its cells."""
    sheet = read(text)
    rows = (row for trial in sheet.trials for row in trial.rows)
    of_cells = (fault for row in rows for fault in row.faults)
    return [(fault.code, fault.column) for fault in (*sheet.loose_faults, *of_cells)]


def workbook(*rows, merged=()):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for area in merged:
        book.active.merge_cells(area)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


class TestChosenColumns:
    @pytest.mark.parametrize(
        ("title", "column", "key"),
        [
            ("Sensor F", "air_temperature_c", "air_temperature_c"),
            ("Blow (mV)", "wind_speed_m_s", "wind_speed_m_s"),
            ("Blow", "wind_speed_m_s", "wind_speed_m_s"),
            ("Blow (km/h)", "wind_speed_m_s", "wind_speed_km_h"),
            ("Thing / mA", "current_a", "current_ma"),
            ("Thing mA", "current_a", "current_ma"),
            ("R2 [kΩ]", "load_ohm", "load_kohm"),
            ("Hall in °F", "air_temperature_c", "air_temperature_f"),
            ("Glass (mmHg)", "pressure_hpa", "pressure_mmhg"),
        ],
    )
    def test_numbers_are_in_the_unit_of_the_title(self, title, column, key):
        text = f"Team;{title};Voltage (V)|Larch;15;1.2"
        assert trials_of(text, key, columns={title: column}) == [[(15.0,)]]


class TestColumnsWithoutATitle:
    @pytest.mark.parametrize(
        "text",
        [
            "Team;Load (ohm);U1;U2|Larch;30;1,2;1,3;1,4",
            "Team;Load (ohm);Voltage (V);;|Larch;30;1,2;;1,4",
            "Team;Day;;Voltage (V)|Larch;5.3.26;12;1,2",
        ],
    )
    def test_numbers_are_asked_about(self, text):
        assert "unknown_column" in [code for code, _ in codes(text)]

    @pytest.mark.parametrize(
        "text", [";Team;Last;Spannung|1;Larch;30;1,2|2;Birch;30;1,3",
                 "Team;Last;Spannung;|Larch;30;1,2;windy"]
    )  # fmt: skip
    def test_row_numbers_and_remarks_are_only_listed(self, text):
        assert codes(text) == []
        assert [each["why"] for each in read(text).understood["not_read"]] == ["untitled"]

    def test_they_may_be_said_to_be_readings(self):
        text = "Team;Load (ohm);Voltage (V);|Larch;30;1,2;1,3"
        chosen = {"column D": "voltage_v"}
        assert trials_of(text, "voltage_v", columns=chosen) == [[(1.2,), (1.3,)]]

    def test_a_merged_title_of_readings_is_that_of_each_column(self):
        body = workbook(
            ["Team", "Blattwinkel", "Spannung (V)", None, None],
            ["Larch", 12, 1.2, 1.3, 1.4],
            merged=["C1:E1"],
        )
        assert trials_of(body, "voltage_v") == [[(1.2,), (1.3,), (1.4,)]]


class TestSecondRowOfTitles:
    def test_numbers_of_readings_below_a_wide_title(self):
        text = "Team;Spannung (V);;;Wind (m/s)|;Lauf 1;Lauf 2;Lauf 3;|Larch;1,2;1,3;1,4;4,1"
        assert trials_of(text, "voltage_v") == [[(1.2,), (1.3,), (1.4,)]]

    @pytest.mark.parametrize("below", ["10;22;47", "Pitch 10;Pitch 15;Pitch 20", "Team 1;Team 2;x"])
    def test_anything_else_below_it_is_asked_about(self, below):
        text = f"Tag;Spannung (V);;;Wind (m/s)|;{below};|5.3.26;1,2;1,3;1,4;4,1"
        assert "unknown_column" in [code for code, _ in codes(text)]

    def test_a_row_of_numbers_below_narrow_titles_is_a_trial(self):
        text = "Voltage (V);Load (ohm)|5;4|6;5"
        assert trials_of(text, "voltage_v") == [[(5.0,)], [(6.0,)]]

    def test_numbers_of_titles_that_do_not_count_readings(self):
        got = codes("Team;Voltage 10;Voltage 22;Voltage 47|Larch;1,2;1,3;1,4")
        assert {code for code, _ in got} == {"column_twice"}

    def test_readings_belong_together_by_their_numbers(self):
        text = "Team;Last;U2;U1;Wind 1;Wind 2|Larch;30;1,2;1,1;4,1;4,2"
        assert trials_of(text, "voltage_v", "wind_speed_m_s") == [[(1.1, 4.1), (1.2, 4.2)]]


class TestCells:
    @pytest.mark.parametrize("cell", ["30 22", "1,2¹", "4²", "1 2 V", "12 345 6"])
    def test_what_is_no_number(self, cell):
        assert ("not_a_number", "Last") in codes(f"Team;Last|Larch;{cell}")

    def test_a_number_without_a_unit_among_others_with_one(self):
        text = "Team;Spannung;Temp|Larch;950 mV;71 °F|Birch;940;72"
        assert codes(text) == [("not_a_number", "Spannung"), ("not_a_number", "Temp")]

    def test_a_number_without_a_unit_among_others_in_the_usual_one(self):
        text = "Team;Spannung;Last|Larch;1,2 V;4k7|Birch;1,3;30"
        got = trials_of(text, "voltage_v", "load_ohm")
        assert got == [[(1.2, 4700.0)], [(1.3, 30.0)]]

    def test_cells_with_several_numbers_stay_several(self):
        got = trials_of("Team;Spannung (V);Blade pitches deg|Larch;1,2;10 12", "blade_pitches_deg")
        assert got == [[([10.0, 12.0],)]]

    @pytest.mark.parametrize(("cell", "build"), [("Aufbau 2", 2), ("#3", 3), ("v4", 4)])
    def test_a_build_with_a_word(self, cell, build):
        assert trials_of(f"Team;Aufbau;Last|Larch;{cell};30", "build") == [[(build,)]]

    def test_a_build_with_a_letter_of_its_own(self):
        assert ("not_a_whole_number", "Aufbau") in codes("Team;Aufbau;Last|Larch;A1;30")

    def test_a_row_cut_by_a_decimal_comma_makes_others_doubtful(self):
        text = "Team,Load (ohm),Voltage (V),Wind (m/s),Note|Larch,30,1,25,4,1,ok|Birch,30,1,31,4"
        assert [code for code, _ in codes(text)] == ["cell_count", "cell_count"]


class TestRowsThatAreNoTrials:
    @pytest.mark.parametrize(
        "text",
        [
            "Team,Versuch,Last,Spannung|Larch,1,30,1.2|Larch,Mittelwert,30,1.25",
            "Versuch,Team,Last,Spannung|1,Larch,30,1.2|Average,,30,1.25",
            "Team,Notiz,Last,Spannung|Larch,,30,1.2|Larch,Average,30,1.25",
        ],
    )
    def test_an_average_is_one_wherever_it_is_named(self, text):
        assert trials_of(text, "voltage_v") == [[(1.2,)]]

    def test_a_team_may_be_called_max(self):
        text = "Team;Last;Spannung|Larch;30;1,2|Max;30;1,3"
        assert trials_of(text, "team") == [[("Larch",)], [("Max",)]]

    def test_no_name_is_filled_in_from_above_a_summary(self):
        text = "Team;Last;Spannung|Larch;30;1,2|;;1,3|Max;;1,4|;;1,5"
        assert trials_of(text, "team")[-1] == [(None,)]


class TestTables:
    def test_a_second_table_of_two_titles_is_a_table(self):
        text = "Team,Spannung (V)|Larch,1.2||Team,Spannung (mV)|Birch,950"
        assert [each["row"] for each in read(text).understood["tables"]] == [1, 4]

    def test_a_table_with_a_headline_of_its_own_is_another(self):
        text = "Larch;|Last;Spannung|30;1,2||Birch;|Last;Spannung|30;1,0"
        assert [each["headline"] for each in read(text).understood["tables"]] == ["Larch", "Birch"]
        assert trials_of(text, "voltage_v", table="6") == [[(1.0,)]]

    def test_the_titles_once_more_are_left_out(self):
        text = "Team;Last;Spannung|Larch;30;1,2|Team;Last;Spannung|Birch;30;1,3"
        assert trials_of(text, "team") == [[("Larch",)], [("Birch",)]]


class TestWrittenOnce:
    def test_a_setting_below_the_heading_of_a_team(self):
        text = "Team;Pitch;Spannung|Larch;;|;12;1,2|;;1,3|Birch;;|;;1,0"
        assert trials_of(text, "team", "pitch_deg") == [
            [("Larch", 12.0), ("Larch", 12.0)],
            [("Birch", None)],
        ]

    def test_runs_below_a_team_that_is_written_once(self):
        text = "Team,Pitch,Run,Voltage (V)|Larch,12,1,1.2|,,2,1.3"
        assert trials_of(text, "team", "voltage_v") == [[("Larch", 1.2), ("Larch", 1.3)]]

    def test_runs_of_numbered_trials_need_not_be_neighbours(self):
        text = "Team;Versuch;Spannung|Larch;1;1,2|Birch;1;1,0|Larch;1;1,3"
        assert trials_of(text, "voltage_v") == [[(1.2,), (1.3,)], [(1.0,)]]

    def test_a_cell_merged_sideways_is_not_filled_from_above(self):
        body = workbook(["Team", "Aufbau", "Last"], ["Larch", 1, 30], ["Birch", None, 30],
                        merged=["A3:B3"])  # fmt: skip
        assert codes(body) == [("no_value", "Aufbau")]


class TestDayAndTime:
    @pytest.mark.parametrize("clock", [time(14, 30), "14:30", 0.604166667])
    def test_a_day_of_a_spreadsheet_takes_the_time_beside_it(self, clock):
        body = workbook(["Team", "Datum", "Uhrzeit"], ["Larch", datetime(2026, 3, 5), clock])
        assert trials_of(body, "session_started_at") == [[("2026-03-05 14:30",)]]

    def test_two_times_that_differ(self):
        got = trials_of("Team;Datum;Uhrzeit|Larch;5.3.26 14:30;15:10", "session_started_at")
        assert got == [[("5.3.26 14:30",)]]

    @pytest.mark.parametrize("text", ["26-03-05", "26/03/12", "26-03-24"])
    def test_a_day_that_may_begin_with_its_year(self, text):
        got = trials_of(f"Team;Datum;Uhrzeit|Larch;{text};9:30", "session_started_at")
        assert got == [[(text,)]]

    def test_a_day_in_a_column_of_times(self):
        assert trials_of("Team;Zeit|Larch;12.03.26", "session_started_at") == [[("2026-03-12",)]]
