"""Imports that are refused: every fault of every row with its place, and nothing is stored."""

import pytest

from tests.support.makers import World, created
from tests.support.sheets import HEADER, ROW, faults, send, sheet, stored, three_runs


class TestRefusedAsAWhole:
    @pytest.mark.parametrize(
        ("content", "code"),
        [
            pytest.param(b"", "empty", id="empty"),
            pytest.param(b"  \n \n", "empty", id="blank"),
            pytest.param(b"team\n\xa4\xa6\xa8\xac\n", "encoding", id="no encoding"),
            pytest.param(b"team\na\x00b\n", "nul", id="NUL"),
            pytest.param(b"\xff\xfet\x00e\x00a\x00m\x00x", "encoding", id="cut utf-16"),
            pytest.param(b'team,note\n"Larch,1\nx,y\n', "quoting", id="unterminated quote"),
            pytest.param(b"sep=x\nteam\n", "delimiter", id="odd sep"),
            pytest.param(b"sep=;", "empty", id="a sep line alone"),
            pytest.param(b"team,volts (furlong)\n", "unknown_column", id="unknown unit"),
            pytest.param(b"team,team\n", "column_twice", id="a column twice"),
            pytest.param(b"volts,voltage_mv\n", "column_twice", id="one quantity twice"),
            pytest.param(b"team,=cmd|x\n", "unknown_column", id="a formula as title"),
        ],
    )
    def test_with_row_and_reason(self, content, code, world: World):
        answer = send(world.larch.coach, content)
        assert faults(answer)[0][2] == code
        assert answer.json()["errors"][0]["row"] >= 1

    def test_a_misspelt_title_gets_the_nearest(self, world: World):
        answer = send(world.larch.coach, "team,voltige_v\n")
        error = answer.json()["errors"][0]
        assert (error["column"], error["hint"]) == ("voltige_v", "Did you mean voltage_v?")

    def test_too_many_rows(self, world: World):
        answer = send(world.larch.coach, "team\n" + "a\n" * 5_002)
        assert answer.status_code == 413

    def test_ten_thousand_columns(self, world: World):
        answer = send(world.larch.coach, ",".join(f"c{i}" for i in range(10_000)) + "\n")
        assert answer.status_code == 422
        assert "10000 columns" in answer.json()["detail"]

    def test_a_fault_in_each_of_1500_rows(self, world: World):
        answer = send(world.larch.coach, "team,build\n" + "a\n" * 1_500)
        assert answer.status_code == 422
        assert answer.json()["error_count"] == 1_500
        assert len(answer.json()["errors"]) == 1_000

    def test_a_cell_beyond_all_measure(self, world: World):
        answer = send(world.larch.coach, "team\n" + "x" * 200_000 + "\n")
        assert answer.status_code == 422

    def test_another_kind_of_content(self, world: World):
        assert send(world.larch.coach, b"PK", "application/zip").status_code == 415


class TestFaultsOfRows:
    @pytest.mark.parametrize(
        ("was", "becomes", "column", "code", "hint"),
        [
            pytest.param("1.20", "12,O", "voltage_v", "not_a_number", "letter", id="letter O"),
            pytest.param("1.20", "1e3", "voltage_v", "not_a_number", None, id="exponent"),
            pytest.param("1.20", "1_0", "voltage_v", "not_a_number", None, id="underscore"),
            pytest.param("1.20", "٣", "voltage_v", "not_a_number", None, id="other digits"),
            pytest.param("1.20", "nan", "voltage_v", "not_a_number", "empty", id="nan"),
            pytest.param("1.20", "N/A", "voltage_v", "not_a_number", "empty", id="N/A"),
            pytest.param("1.20", "-", "voltage_v", "not_a_number", "empty", id="dash"),
            pytest.param("1.20", "1.2 A", "voltage_v", "not_a_number", "title", id="unit in cell"),
            pytest.param("1.20", "OL", "voltage_v", "over_range", "larger", id="over range"),
            pytest.param("1.20", "1200", "voltage_v", "out_of_range", "1.2 V", id="millivolts"),
            pytest.param("30.1", "0.0301", "load_ohm", "out_of_range", "30.1 Ω", id="kiloohm"),
            pytest.param("30.1,yes", "30.1,maybe", "load_connected", "not_yes_or_no", None,
                         id="maybe"),
            pytest.param("30.1,yes", "30.1,no", "load_connected", "load_not_stated", "kind",
                         id="open"),
            pytest.param("2026-03-12 14:30", "03/04/2026", "session_started_at", "not_a_moment",
                         "2026-03-05", id="two readings of a date"),
            pytest.param("2026-03-12 14:30", "46083", "session_started_at", "not_a_moment",
                         "2026-03-05", id="day number without a time"),
            pytest.param("2026-03-12 14:30", "2026-02-30 14:30", "session_started_at",
                         "not_a_moment", "2026-03-05", id="30 February"),
            pytest.param("2026-03-12 14:30", "", "session_started_at", "missing", None,
                         id="no date"),
            pytest.param("2026-03-12 14:30", "2027-03-12 14:30", "session_started_at",
                         "outside_season", None, id="another year"),
            pytest.param("Larch one", "Larch won", "team", "unknown_name", "Larch one", id="team"),
            pytest.param("Larch one", "", "team", "missing", None, id="no team"),
            pytest.param("Larch hall", "Larch hull", "bench", "unknown_name", "Larch hall",
                         id="bench"),
            pytest.param("Whirl", "Swirl", "turbine", "unknown_name", "Whirl", id="turbine"),
            pytest.param("Whirl,1", "Whirl,7", "build", "unknown_name", "There are: 1", id="build"),
            pytest.param("Whirl,1", "Whirl,one", "build", "not_a_whole_number", None,
                         id="number in words"),
            pytest.param("Larch school", "Birch school", "organisation", "unknown_name",
                         "Larch school", id="another school"),
            pytest.param("record", "recrod", "kind", "literal_error", None, id="kind"),
            pytest.param("22,950", "220,950", "air_temperature_c", "out_of_range", None,
                         id="oven"),
        ],
    )  # fmt: skip
    def test_each_has_row_column_value_reason_and_hint(
        self, was, becomes, column, code, hint, world: World
    ):
        good = three_runs("good")
        bad = ROW.format(ref="bad", volts="1.20").replace(was, becomes, 1)
        before = len(stored(world))
        answer = send(world.larch.coach, sheet(*good, bad.replace("12,O", '"12,O"')))
        errors = answer.json()["errors"]
        assert (5, column, code) in faults(answer), errors
        (error,) = [e for e in errors if e["code"] == code]
        assert error["detail"]
        if hint:
            assert hint in error["hint"]
        assert len(stored(world)) == before

    @pytest.mark.parametrize("cell", ["no", ""], ids=["no adult", "not said"])
    def test_without_an_adult_at_the_fan(self, cell, world: World):
        row = ROW.format(ref="a", volts="1.2").replace("950,yes", f"950,{cell}")
        assert faults(send(world.larch.coach, sheet(row))) == [
            (2, "adult_present", "supervisor_missing")
        ]

    def test_an_adult_who_was_there_for_some_rows_only(self, world: World):
        left = ROW.format(ref="b", volts="1.2").replace("950,yes", "950,no")
        answer = send(world.larch.coach, sheet(*three_runs("a"), left))
        assert faults(answer) == [(5, "adult_present", "session_differs")]
        assert answer.json()["errors"][0]["detail"] == "the session has yes already"

    def test_all_faults_of_all_rows_at_once(self, world: World):
        rows = [
            ROW.format(ref="a", volts="x").replace("Larch one", "Nobody"),
            ROW.format(ref="b", volts="1.2").replace("Larch hall", "Nowhere"),
            "too,short",
        ]
        assert faults(send(world.larch.coach, sheet(*rows))) == [
            (2, "voltage_v", "not_a_number"),
            (2, "team", "unknown_name"),
            (3, "bench", "unknown_name"),
            (4, None, "cell_count"),
        ]

    def test_the_column_is_named_as_in_the_file(self, world: World):
        content = sheet(ROW.format(ref="a", volts="x")).replace("voltage_v", "Voltage (V)")
        assert faults(send(world.larch.coach, content)) == [(2, "Voltage (V)", "not_a_number")]

    def test_runs_of_one_trial_must_agree(self, world: World):
        rows = three_runs("a")
        rows[2] = rows[2].replace("30.1", "47")
        assert faults(send(world.larch.coach, sheet(*rows))) == [(4, "load_ohm", "rows_differ")]

    def test_a_fault_stands_at_the_run_it_is_in(self, world: World):
        rows = three_runs("a", volts=("1.2", "1.2", "2.0"))
        content = sheet(*(f"{row},2.0" for row in rows), header=HEADER + ",meter_range_v")
        assert faults(send(world.larch.coach, content)) == [(4, "voltage_v", "meter_over_range")]

    def test_all_faults_of_names_times_and_loads_come_at_once(self, world: World):
        row = ROW.format(ref="a", volts="1.2").replace("Larch hall", "Nowhere")
        row = row.replace("2026-03-12 14:30", "03/04/2026").replace("30.1,yes", ",")
        assert faults(send(world.larch.coach, sheet(row))) == [
            (2, "bench", "unknown_name"), (2, "session_started_at", "not_a_moment"),
        ]  # fmt: skip
        loads = [ROW.format(ref=r, volts="1.2").replace("30.1,yes", ",") for r in "ab"]
        assert faults(send(world.larch.coach, sheet(*loads))) == [
            (2, "load_ohm", "load_not_stated"), (3, "load_ohm", "load_not_stated"),
        ]  # fmt: skip

    def test_a_season_that_is_not_there(self, world: World):
        answer = send(world.larch.coach, sheet(*three_runs()), season_id="sea_" + "0" * 26)
        assert answer.status_code == 404

    def test_a_year_without_seasons(self, world: World):
        row = ROW.format(ref="a", volts="1.2").replace("2026-03-12 14:30", "9999-12-31T23:59+00:00")
        assert faults(send(world.larch.coach, sheet(row)))[0][1] == "session_started_at"

    def test_a_condition_that_cannot_be_read_is_missing_in_no_other_trial(self, world: World):
        """With the good rows only, the session would be stored as if nobody had measured it."""
        rows = [
            ROW.format(ref="a", volts="1.2").replace(",22,950,", ",22,95O,"),
            ROW.format(ref="b", volts="1.2").replace(",22,950,", ",,,"),
        ]
        answer = send(world.larch.coach, sheet(*rows), mode="partial")
        errors = [(e["row"], e["column"], e["code"])
                  for row in answer.json()["rows"] for e in row["errors"]]  # fmt: skip
        assert errors == [(2, "pressure_hpa", "not_a_number"), (3, "pressure_hpa", "unread")]
        rows[1] = rows[1].replace(",,,", ",,950,")
        answer = send(world.larch.coach, sheet(*rows), mode="partial")
        assert answer.json()["outcomes"] == {"created": 1, "unchanged": 0, "error": 1}

    def test_one_decimal_sign_in_a_file(self, world: World):
        content = sheet(*three_runs("a"), ROW.format(ref="b", volts='"1,2"'))
        assert faults(send(world.larch.coach, content)) == [(5, "voltage_v", "mixed_decimals")]

    def test_a_stored_session_that_says_otherwise(self, world: World):
        created(send(world.larch.coach, sheet(*three_runs("a"))))
        content = sheet(ROW.format(ref="b", volts="1.2").replace(",22,", ",25,"))
        answer = send(world.larch.coach, content)
        assert faults(answer) == [(2, "air_temperature_c", "session_differs")]

    def test_the_hour_that_was_skipped_and_the_one_shown_twice(self, world: World):
        world.lead.patch(
            f"/v1/organisations/{world.larch.organisation_id}",
            json={"timezone": "Europe/Dublin"},
            headers={"If-Match": '"v1"'},
        )
        # 29 March 2026, 01:00 to 02:00 did not exist in Ireland
        content = sheet(*three_runs("a")).replace("2026-03-12 14:30", "2026-03-29 01:30")
        assert faults(send(world.larch.coach, content))[0] == (
            2, "session_started_at", "clock_change",
        )  # fmt: skip
