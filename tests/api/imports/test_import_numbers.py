"""Numbers and ticks as people type them: each is right, refused or asked about, never guessed."""

import io
from datetime import date, datetime

import openpyxl
import pytest

from api.services.imports.decimal_signs import column_signs
from tests.support.makers import World, created
from tests.support.sheets import faults, send, stored

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
COLUMNS = ("team", "build", "bench", "session_started_at", "client_ref", "load_ohm",
           "load_connected", "voltage_mv", "adult_present")  # fmt: skip
FACTS = {"team": "Larch one", "build": "1", "bench": "Larch hall",
         "session_started_at": "2026-03-12 14:30", "client_ref": "n1", "load_ohm": "30",
         "load_connected": "yes", "voltage_mv": "1200", "adult_present": "yes"}  # fmt: skip


def text(*rows, columns=COLUMNS, delimiter=";"):
    lines = [columns, *([(FACTS | row).get(name, "") for name in columns] for row in rows)]
    return "\n".join(delimiter.join(line) for line in lines) + "\n"


def workbook(*rows, columns=COLUMNS, change=None):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(columns)
    at = {"session_started_at": datetime(2026, 3, 12, 14, 30), "build": 1, "load_ohm": 30,
          "voltage_mv": 1200}  # fmt: skip
    for row in rows:
        sheet.append([(FACTS | at | row).get(name) for name in columns])
    if change is not None:
        change(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def asked(client, content, kind="text/csv", **parameters):
    """Return the answer of a dry run."""
    answer = send(client, content, kind, dry_run="true", **parameters)
    assert answer.status_code == 200, answer.text
    return answer.json()


def volts(world):
    mine = [trial for trial in stored(world) if (trial["client_ref"] or "").startswith("n")]
    return [run["voltage_v"] for trial in mine for run in trial["runs"]]


class TestSeparators:
    """Which evidence decides, by cases that a reader can judge; common practice, no source."""

    @pytest.mark.parametrize(
        ("columns", "meaning"),
        [
            pytest.param({"voltage_mv": ["1,200"]}, None, id="nothing decides"),
            pytest.param({"voltage_mv": ["1,200", "950,5"]}, "decimal", id="one digit beside it"),
            pytest.param({"voltage_mv": ["0,166", "1,200"]}, "decimal", id="a sibling from 0"),
            pytest.param({"voltage_mv": ["1,200", "950"]}, None, id="a large whole sibling"),
            pytest.param(
                {"voltage_mv": ["1,200", "950"], "wind_speed_m_s": ["4,2"]}, None,
                id="another column says decimals, and a large whole sibling thousands",
            ),
            pytest.param(
                {"voltage_mv": ["1,200"], "wind_speed_m_s": ["4,2"]}, None,
                id="another column says decimals, but a millivolt is no model turbine's",
            ),
            pytest.param(
                {"load_ohm": ["22,105"], "wind_speed_m_s": ["4,2"]}, "decimal",
                id="another column says decimals",
            ),
            pytest.param(
                {"load_ohm": ["22,105"], "wind_speed_m_s": ["4,123"]}, "decimal",
                id="no wind blows at 4123 m/s",
            ),
            pytest.param(
                {"rotor_speed_rpm": ["1,200"], "pressure_hpa": ["1,013"]}, None,
                id="another column says thousands, which is no proof",
            ),
            pytest.param(
                {"load_ohm": ["22,105"], "wind_speed_m_s": ["4.2"]}, None,
                id="the other sign stands before decimals",
            ),
        ],
    )  # fmt: skip
    @pytest.mark.parametrize("sign", [",", "."])
    def test_evidence(self, sign, columns, meaning):
        other = {",": ".", ".": ","}
        typed = {
            key: [
                number if sign == "," else number.translate(str.maketrans(other)) for number in some
            ]
            for key, some in columns.items()
        }
        fields = {key: "voltage_v" if key == "voltage_mv" else key for key in typed}
        first = next(iter(typed))
        assert column_signs(typed, fields)[first].meaning(typed[first][0]) == meaning

    def test_a_pressure_can_only_have_thousands(self):
        signs = column_signs({"pressure_hpa": ["1.013"]}, {"pressure_hpa": "pressure_hpa"})
        assert signs["pressure_hpa"].meaning("1.013") == "thousands"


class TestThousandsOrDecimals:
    @pytest.mark.parametrize("cell", ["1,200", "1.200"])
    def test_what_nothing_decides_is_asked_and_not_stored(self, cell, world: World):
        content = text({"voltage_mv": cell})
        assert faults(send(world.larch.coach, content)) == [(2, "voltage_mv", "ambiguous_number")]
        question = asked(world.larch.coach, content)["understood"]["asks_decimal_sign"]
        own = "comma" if "," in cell else "point"
        other = "point" if own == "comma" else "comma"
        assert question["readings"] == {own: "1.2 mV = 0.0012 V", other: "1200 mV = 1.2 V"}
        assert volts(world) == []

    @pytest.mark.parametrize(
        ("cell", "decimal", "value"),
        [("1,200", "point", 1.2), ("1.200", "comma", 1.2), ("1.200", "point", 0.0012)],
    )
    def test_a_named_sign_decides(self, cell, decimal, value, world: World):
        created(send(world.larch.coach, text({"voltage_mv": cell}), decimal=decimal))
        assert volts(world) == [value]

    def test_a_clear_number_in_the_column_decides(self, world: World):
        rows = [{"voltage_mv": "1203,5"}, {"voltage_mv": "1.200", "client_ref": "n2"}]
        got = faults(send(world.larch.coach, text(*rows)))
        assert got == [(3, "voltage_mv", "ambiguous_number")]

    def test_volts_with_three_decimals_need_no_question(self, world: World):
        columns = [name.replace("voltage_mv", "voltage_v") for name in COLUMNS]
        created(send(world.larch.coach, text({"voltage_v": "1,203"}, columns=columns)))
        assert volts(world) == [1.203]

    def test_a_percent_sign_in_a_column_of_percent(self, world: World):
        columns = (*COLUMNS, "relative_humidity_pct")
        done = created(
            send(world.larch.coach, text({"relative_humidity_pct": "45 %"}, columns=columns))
        )
        session = world.larch.coach.get(f"/v1/trials/{done['rows'][0]['id']}").json()["session_id"]
        body = world.larch.coach.get(f"/v1/sessions/{session}").json()
        assert body["relative_humidity_pct"] == 45


class TestTicks:
    def test_an_adult_ticked_in_one_row_says_nothing_of_another(self, world: World):
        rows = [{}, {"client_ref": "n2", "adult_present": ""}]
        assert faults(send(world.larch.coach, text(*rows))) == [
            (3, "adult_present", "supervisor_missing")
        ]
        assert volts(world) == []

    def test_nor_does_it_in_another_run_of_the_same_trial(self, world: World):
        rows = [{}, {"adult_present": "", "voltage_mv": "1190"}]
        assert faults(send(world.larch.coach, text(*rows))) == [
            (3, "adult_present", "supervisor_missing")
        ]

    def test_a_load_connected_in_one_run_says_nothing_of_another(self, world: World):
        rows = [{}, {"load_connected": "", "voltage_mv": "1190"}]
        assert faults(send(world.larch.coach, text(*rows))) == [
            (3, "load_connected", "load_not_stated")
        ]


class TestMoments:
    @pytest.mark.parametrize("cell", ["2026-03-12 00:00", "2026-03-12T00:00:00"])
    def test_midnight_is_a_day_without_its_time(self, cell, world: World):
        got = faults(send(world.larch.coach, text({"session_started_at": cell})))
        assert got == [(2, "session_started_at", "no_time")]

    def test_midnight_with_its_offset_is_meant(self, world: World):
        created(send(world.larch.coach, text({"session_started_at": "2026-03-12T00:00:00+00:00"})))


class TestWorkbooks:
    def test_a_date_cell_without_a_time_is_refused(self, world: World):
        body = workbook({"session_started_at": date(2026, 3, 12)})
        got = faults(send(world.larch.coach, body, XLSX))
        assert got == [(2, "session_started_at", "not_a_moment")]

    def test_a_date_shown_without_its_time_has_none(self, world: World):
        def shown_as_day(book):
            book.active["D2"].number_format = "dd/mm/yyyy"

        body = workbook({}, change=shown_as_day)
        got = faults(send(world.larch.coach, body, XLSX))
        assert got == [(2, "session_started_at", "not_a_moment")]

    def test_percent_is_read_as_it_is_shown(self, world: World):
        def in_percent(book):
            book.active["J2"].number_format = "0 %"

        columns = (*COLUMNS, "relative_humidity_pct")
        body = workbook({"relative_humidity_pct": 0.45}, columns=columns, change=in_percent)
        done = created(send(world.larch.coach, body, XLSX))
        session = world.larch.coach.get(f"/v1/trials/{done['rows'][0]['id']}").json()["session_id"]
        result = world.larch.coach.get(f"/v1/sessions/{session}").json()
        assert result["relative_humidity_pct"] == 45

    def test_a_fraction_in_a_column_of_volts_is_refused_in_percent(self, world: World):
        def in_percent(book):
            book.active["H2"].number_format = "0%"

        got = faults(
            send(world.larch.coach, workbook({"voltage_mv": 0.45}, change=in_percent), XLSX)
        )
        assert got == [(2, "voltage_mv", "not_a_number")]

    @pytest.mark.parametrize("shown", ['0.00" V"', "0.00,", r"0.0\ \V", "0.0 [$V]"])
    def test_what_is_shown_in_another_unit_or_scale_is_refused(self, shown, world: World):
        """1200 in a column of millivolts that is shown as volts is beyond all limits."""

        def formatted(book):
            book.active["H2"].number_format = shown

        (got,) = faults(send(world.larch.coach, workbook({}, change=formatted), XLSX))
        assert got in [(2, "voltage_mv", "not_a_number"), (2, "voltage_mv", "out_of_range")]

    def test_hidden_rows_columns_and_sheets_are_skipped_and_listed(self, world: World):
        def hide(book):
            sheet = book.active
            sheet.row_dimensions[3].hidden = True
            sheet.column_dimensions["J"].hidden = True
            book.create_sheet("Old", 0).sheet_state = "hidden"
            book.create_sheet("Notes")

        rows = [{}, {"voltage_mv": 5}, {"voltage_mv": 1210}]
        body = workbook(*rows, columns=(*COLUMNS, "note"), change=hide)
        done = created(send(world.larch.coach, body, XLSX))
        result = done["understood"]
        assert result["hidden_rows"] == [3]
        assert result["hidden_columns"] == ["note"]
        assert (result["hidden_sheets"], result["other_sheets"]) == (["Old"], ["Notes"])
        assert [row["row"] for row in done["rows"]] == [2, 4]
        assert volts(world) == [1.2, 1.21]

    def test_a_filtered_row_is_hidden(self, world: World):
        def filtered(book):
            book.active.auto_filter.ref = "A1:I3"
            book.active.row_dimensions[2].hidden = True

        created(send(world.larch.coach, workbook({"voltage_mv": 5}, {}, change=filtered), XLSX))
        assert volts(world) == [1.2]

    def test_a_number_with_three_decimals_is_a_number(self, world: World):
        created(send(world.larch.coach, workbook({"voltage_mv": 1.234}), XLSX))
        assert volts(world) == [0.001234]

    def test_text_that_looks_like_a_number_is_asked_about(self, world: World):
        got = faults(
            send(world.larch.coach, workbook({"voltage_mv": "1.200", "load_ohm": 30.5}), XLSX)
        )
        assert got == [(2, "voltage_mv", "ambiguous_number")]

    def test_a_formula_without_a_stored_result_is_refused(self, world: World):
        got = faults(send(world.larch.coach, workbook({"voltage_mv": "=1000+200"}), XLSX))
        assert got == [(2, "voltage_mv", "no_value")]

    def test_a_merged_cell_is_refused_where_it_is_covered(self, world: World):
        def merge(book):
            book.active.merge_cells("H2:H3")

        rows = [{}, {"client_ref": "n2"}]
        got = faults(send(world.larch.coach, workbook(*rows, change=merge), XLSX))
        assert got == [(3, "voltage_mv", "no_value")]

    def test_a_name_that_is_merged_over_its_runs_is_that_of_all(self, world: World):
        def merge(book):
            book.active.merge_cells("E2:E3")

        body = workbook({}, {"voltage_mv": 1190}, change=merge)
        done = created(send(world.larch.coach, body, XLSX))
        assert "row above" in " ".join(done["understood"]["guesses"])
        assert volts(world) == [1.2, 1.19]


class TestRowsOfATrial:
    def test_an_unnamed_row_below_a_named_trial_is_asked_about(self, world: World):
        got = faults(send(world.larch.coach, text({}, {"client_ref": "", "voltage_mv": "1190"})))
        assert got == [(3, "client_ref", "missing")]

    def test_one_that_counts_on_is_its_next_run(self, world: World):
        columns = (*COLUMNS, "run")
        rows = [{"run": "1"}, {"run": "2", "client_ref": "", "voltage_mv": "1190"}]
        created(send(world.larch.coach, text(*rows, columns=columns)))
        assert volts(world) == [1.2, 1.19]

    def test_a_team_that_is_named_once_is_that_of_all_runs(self, world: World):
        rows = [{}, {"team": "", "build": "", "voltage_mv": "1190"}]
        created(send(world.larch.coach, text(*rows)))
        assert volts(world) == [1.2, 1.19]

    def test_conditions_of_a_refused_trial_are_those_of_its_session(self, world: World):
        columns = (*COLUMNS, "air_temperature_c")
        rows = [{"air_temperature_c": "18,5", "voltage_mv": "x"}, {"client_ref": "n2"}]
        content = text(*rows, columns=columns)
        done = created(send(world.larch.coach, content, mode="partial"))
        (stored_row,) = [row for row in done["rows"] if row["id"]]
        trial = world.larch.coach.get(f"/v1/trials/{stored_row['id']}").json()
        session = world.larch.coach.get(f"/v1/sessions/{trial['session_id']}").json()
        assert session["air_temperature_c"] == 18.5


class TestCutInTwo:
    def test_a_decimal_comma_between_commas_shifts_nothing(self, world: World):
        """Over an empty last column the row would fit by its number of filled cells."""
        columns = ("team", "build", "bench", "session_started_at", "client_ref", "adult_present",
                   "load_connected", "load_ohm", "voltage_v", "note")  # fmt: skip
        row = "Larch one,1,Larch hall,2026-03-12 14:30,n1,yes,yes,22,5,1,\n"
        got = faults(send(world.larch.coach, ",".join(columns) + "\n" + row))
        assert got == [(2, None, "cell_count")]

    def test_a_minus_of_a_typesetter_is_asked_about_like_any_other(self, world: World):
        columns = (*COLUMNS, "pitch_deg")
        content = text({"voltage_mv": "\u22121.480", "pitch_deg": "12"}, columns=columns)
        question = asked(world.larch.coach, content)["understood"]["asks_decimal_sign"]
        assert question["readings"]["point"] == "-1.48 mV = -0.00148 V"
