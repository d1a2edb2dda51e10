"""Imports: files as people have them, every fault with its place, and nothing stored by halves."""

import io

import pytest

from api.services.imports.headers import COLUMNS
from tests.makers import World, created, trial_payload

pytestmark = pytest.mark.on_both

HEADER = (
    "organisation,team,turbine,build,bench,session_started_at,kind,client_ref,load_ohm,"
    "load_connected,voltage_v,wind_speed_m_s,air_temperature_c,pressure_hpa,adult_present"
)
ROW = (
    "Larch school,Larch one,Whirl,1,Larch hall,2026-03-12 14:30,record,{ref},30.1,yes,{volts},4.2,"
    "22,950,yes"
)


def sheet(*rows, header=HEADER):
    return "\n".join([header, *rows]) + "\n"


def three_runs(ref="r1", volts=("1.20", "1.19", "1.21")):
    return [ROW.format(ref=ref, volts=each) for each in volts]


def send(client, content, content_type="text/csv", **parameters):
    body = content.encode() if isinstance(content, str) else content
    return client.post(
        "/v1/imports", params=parameters, content=body, headers={"Content-Type": content_type}
    )


def faults(answer):
    assert answer.status_code == 422, answer.text
    return [
        (error.get("row"), error.get("column"), error["code"]) for error in answer.json()["errors"]
    ]


def stored(world):
    return world.larch.coach.get("/v1/trials?limit=200").json()["items"]


class TestRefusedAsAWhole:
    @pytest.mark.parametrize(
        ("content", "code"),
        [
            pytest.param(b"", "empty", id="empty"),
            pytest.param(b"  \n \n", "empty", id="blank"),
            pytest.param(b"team\n\xe9t\xe9\n", "encoding", id="latin-1"),
            pytest.param(b"team\na\x00b\n", "nul", id="NUL"),
            pytest.param(b"\xff\xfet\x00e\x00a\x00m\x00x", "encoding", id="cut utf-16"),
            pytest.param(b'team,note\n"Larch,1\nx,y\n', "quoting", id="unterminated quote"),
            pytest.param(b"sep=x\nteam\n", "delimiter", id="odd sep"),
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
        assert answer.json()["error_count"] == 10_000
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
            pytest.param("1.20", "1.2 V", "voltage_v", "not_a_number", "title", id="unit in cell"),
            pytest.param("1.20", "OL", "voltage_v", "over_range", "larger", id="over range"),
            pytest.param("1.20", "1200", "voltage_v", "out_of_range", "1.2 V", id="millivolts"),
            pytest.param("30.1", "0.0301", "load_ohm", "out_of_range", "30.1 Ω", id="kiloohm"),
            pytest.param("30.1,yes", "30.1,maybe", "load_connected", "not_yes_or_no", None,
                         id="maybe"),
            pytest.param("30.1,yes", "30.1,no", "load_ohm", "load_not_stated", "kind", id="open"),
            pytest.param("2026-03-12 14:30", "03/04/2026", "session_started_at", "not_a_moment",
                         "2026-03-05", id="two readings of a date"),
            pytest.param("2026-03-12 14:30", "46083", "session_started_at", "not_a_moment",
                         "2026-03-05", id="day number"),
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

    @pytest.mark.parametrize("said", ["no", ""], ids=["no adult", "not said"])
    def test_without_an_adult_at_the_fan(self, said, world: World):
        row = ROW.format(ref="a", volts="1.2").replace("950,yes", f"950,{said}")
        assert faults(send(world.larch.coach, sheet(row))) == [
            (2, "adult_present", "supervisor_missing")
        ]

    def test_an_adult_who_was_there_for_some_rows_only(self, world: World):
        left = ROW.format(ref="b", volts="1.2").replace("950,yes", "950,no")
        answer = send(world.larch.coach, sheet(*three_runs("a"), left))
        assert faults(answer) == [(5, "adult_present", "session_differs")]
        assert answer.json()["errors"][0]["detail"] == "the session is stored with yes"

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


class TestUnderstood:
    @pytest.mark.parametrize(
        ("change", "delimiter", "decimal", "encoding"),
        [
            pytest.param(lambda s: s.encode(), "comma", ".", "utf-8", id="plain"),
            pytest.param(lambda s: s.encode("utf-8-sig"), "comma", ".", "utf-8", id="with BOM"),
            pytest.param(lambda s: s.encode("utf-16"), "comma", ".", "utf-16", id="UTF-16"),
            pytest.param(
                lambda s: b"\xfe\xff" + s.encode("utf-16-be"), "comma", ".", "utf-16",
                id="UTF-16 other order",
            ),
            pytest.param(lambda s: s.replace(",", "\t").encode(), "tab", ".", "utf-8", id="tabs"),
            pytest.param(
                lambda s: s.replace(",", ";").replace(".", ",").encode(), "semicolon", ",",
                "utf-8", id="semicolons and decimal commas",
            ),
            pytest.param(
                lambda s: b"sep=;\r\n" + s.replace(",", ";").encode(), "semicolon", ".", "utf-8",
                id="a sep line",
            ),
            pytest.param(
                lambda s: s.replace("\n", "\r\n").encode(), "comma", ".", "utf-8", id="CRLF"
            ),
            pytest.param(lambda s: s.replace("\n", "\r").encode(), "comma", ".", "utf-8", id="CR"),
            pytest.param(
                lambda s: s.replace("\n", ",,,\n").encode() + b",,,\n\n,,\n", "comma", ".",
                "utf-8", id="blank rows and columns at the end",
            ),
        ],
    )  # fmt: skip
    def test_however_it_was_saved(self, change, delimiter, decimal, encoding, world: World):
        done = created(send(world.larch.coach, change(sheet(*three_runs()))))
        understood = done["understood"]
        assert understood["delimiter"] == delimiter
        assert understood["decimal_sign"] == decimal
        assert understood["encoding"] == encoding
        assert done["trials"] == {"created": 1, "unchanged": 0, "error": 0}
        trial = world.larch.coach.get("/v1/trials?client_ref=r1").json()["items"][0]
        assert [run["voltage_v"] for run in trial["runs"]] == [1.20, 1.19, 1.21]
        assert trial["load_ohm"] == 30.1

    def test_titles_are_forgiven_and_units_taken(self, world: World):
        header = (
            "School;TEAM;Turbine;Build;Bench;Session started at;Kind;Client ref;Load (kOhm);"
            "load connected;Voltage (mV);Wind speed (mph);Temperature (°F);Pressure (inHg);"
            "Adult present;Rotor diameter (inches)"
        )
        row = (
            "larch  SCHOOL;larch one;whirl;1;larch hall;2026-03-12T14:30:00Z;Record;u1;0,0301;Yes;"
            "1200;9,4;71,6;28,05;Y;18"
        )
        done = created(send(world.larch.coach, sheet(row, header=header)))
        trial = world.larch.coach.get(f"/v1/trials/{done['rows'][0]['id']}").json()
        assert trial["load_ohm"] == pytest.approx(30.1)
        assert trial["runs"][0]["voltage_v"] == pytest.approx(1.2)
        assert trial["runs"][0]["as_typed"]["wind_speed_m_s"]["value"] == 9.4
        # 9.4 mph = 4.2022 m/s exactly by 0.44704; 18 in = 0.4572 m
        assert trial["result"]["wind_speed_m_s"] == pytest.approx(4.202176)
        assert trial["rotor_diameter_m"] == pytest.approx(0.4572)
        session = world.larch.coach.get(f"/v1/sessions/{trial['session_id']}").json()
        assert session["air_temperature_c"] == pytest.approx(22.0)
        assert session["pressure_hpa"] == pytest.approx(28.05 * 33.86389)

    def test_pasted_cells_and_a_file_in_a_form(self, world: World):
        pasted = sheet(*three_runs("p")).replace(",", "\t")
        created(send(world.larch.coach, pasted, "text/tab-separated-values"))
        file = io.BytesIO(sheet(*three_runs("q")).encode())
        answer = world.larch.coach.post(
            "/v1/imports", files={"file": ("../../etc/x.csv", file, "text/csv")}
        )
        assert created(answer)["trials"]["created"] == 1

    def test_a_form_without_a_file(self, world: World):
        answer = world.larch.coach.post("/v1/imports", files={"other": ("a.csv", b"team\n")})
        assert answer.status_code == 422

    def test_local_times_are_the_schools(self, world: World):
        world.lead.patch(
            f"/v1/organisations/{world.larch.organisation_id}",
            json={"timezone": "Europe/Helsinki"},
            headers={"If-Match": '"v1"'},
        )
        done = created(send(world.larch.coach, sheet(*three_runs())))
        trial = world.larch.coach.get(f"/v1/trials/{done['rows'][0]['id']}").json()
        session = world.larch.coach.get(f"/v1/sessions/{trial['session_id']}").json()
        assert session["started_at"] == "2026-03-12T12:30:00Z"

    def test_blank_cells_are_filled_where_there_is_one_choice(self, world: World):
        row = ",Larch one,,,,2026-03-12 14:30,,b1,30.1,yes,1.2,4.2,22,950,yes"
        assert created(send(world.larch.coach, sheet(row)))["trials"]["created"] == 1

    def test_rows_without_a_name_group_by_their_run(self, world: World):
        header = HEADER + ",run"
        rows = [ROW.format(ref="", volts=f"1.2{run}") + f",{run}" for run in (1, 2, 3)]
        rows += [ROW.format(ref="", volts=f"1.1{run}") + f",{run}" for run in (1, 2)]
        first = created(send(world.larch.coach, sheet(*rows, header=header)))
        assert first["trials"]["created"] == 2
        again = created(send(world.larch.coach, sheet(*rows, header=header)))
        assert again["trials"] == {"created": 0, "unchanged": 2, "error": 0}

    def test_the_reference_rotor_has_no_team(self, world: World):
        row = (
            "Larch school,,Reference rotor 1,1,Larch hall,2026-03-12 14:30,reference,ref,22,yes,"
            "1.1,4.2,22,950,yes"
        )
        done = created(send(world.larch.coach, sheet(row)))
        trial = world.larch.coach.get(f"/v1/trials/{done['rows'][0]['id']}").json()
        assert trial["build_id"] == world.reference_build_id

    def test_text_that_looks_like_a_formula_is_text(self, world: World):
        content = sheet(ROW.format(ref="'=1+1", volts="1.2"))
        done = created(send(world.larch.coach, content))
        assert done["rows"][0]["client_ref"] == "=1+1"


class TestModes:
    def test_a_dry_run_tells_and_stores_nothing(self, world: World):
        before = world.lead.get(f"/v1/seasons/{world.season_id}").json()["revision"], stored(world)
        bad = ROW.format(ref="b", volts="x")
        answer = send(world.larch.coach, sheet(*three_runs("a"), bad), dry_run=True)
        assert answer.status_code == 200
        tried = answer.json()
        assert tried["dry_run"] is True
        assert tried["trials"] == {"created": 1, "unchanged": 0, "error": 1}
        assert tried["outcomes"] == {"created": 3, "unchanged": 0, "error": 1}
        assert tried["sessions_created"] == 1
        assert [row["outcome"] for row in tried["rows"]] == ["created"] * 3 + ["error"]
        assert tried["rows"][3]["errors"][0]["column"] == "voltage_v"
        after = world.lead.get(f"/v1/seasons/{world.season_id}").json()["revision"], stored(world)
        assert before == after

    def test_all_or_nothing(self, world: World):
        before = stored(world)
        assert (
            send(
                world.larch.coach, sheet(*three_runs("a"), ROW.format(ref="b", volts="x"))
            ).status_code
            == 422
        )
        assert stored(world) == before
        sessions = world.larch.coach.get("/v1/sessions").json()["items"]
        assert [session["id"] for session in sessions] == [world.larch.session_id]

    def test_partial_keeps_the_good_rows(self, world: World):
        other_day = ROW.format(ref="b", volts="x").replace("2026-03-12", "2026-03-19")
        done = created(send(world.larch.coach, sheet(*three_runs("a"), other_day), mode="partial"))
        assert done["trials"] == {"created": 1, "unchanged": 0, "error": 1}
        assert done["sessions_created"] == 1
        assert len(world.larch.coach.get("/v1/sessions").json()["items"]) == 2

    def test_a_session_opened_for_a_refused_trial_is_taken_back(self, world: World):
        alone = ROW.format(ref="b", volts="1.2").replace("950,yes", "950,no")
        done = created(send(world.larch.coach, sheet(alone), mode="partial"))
        assert (done["trials"]["error"], done["sessions_created"]) == (1, 0)
        assert len(world.larch.coach.get("/v1/sessions").json()["items"]) == 1

    def test_the_same_file_twice_changes_nothing(self, world: World):
        content = sheet(*three_runs("a"), *three_runs("b"))
        created(send(world.larch.coach, content))
        before = stored(world)
        again = created(send(world.larch.coach, content))
        assert again["trials"] == {"created": 0, "unchanged": 2, "error": 0}
        assert again["sessions_created"] == 0
        assert stored(world) == before

    def test_the_same_name_with_other_numbers_is_named(self, world: World):
        created(send(world.larch.coach, sheet(*three_runs("a"))))
        other = sheet(*three_runs("a", volts=("1.20", "1.19", "1.40")))
        assert faults(send(world.larch.coach, other)) == [(2, "client_ref", "client_ref_taken")]

    def test_an_import_can_be_read_again(self, world: World):
        done = created(send(world.larch.coach, sheet(*three_runs("a"))))
        shown = world.larch.coach.get(f"/v1/imports/{done['id']}").json()
        assert shown == done

    def test_a_reader_cannot_import(self, world: World):
        assert send(world.larch.reader, sheet(*three_runs())).status_code == 403


class TestBatch:
    def test_a_batch_of_json(self, world: World):
        trials = [trial_payload(world.larch, client_ref=f"j{i}") for i in range(3)]
        done = created(world.larch.coach.post("/v1/imports", json={"trials": trials}))
        assert done["trials"]["created"] == 3
        assert [row["row"] for row in done["rows"]] == [1, 2, 3]

    def test_faults_have_pointers(self, world: World):
        trials = [
            trial_payload(world.larch, client_ref="ok"),
            trial_payload(world.larch, client_ref="bad", load_ohm=-1),
            trial_payload(world.larch, client_ref="open", load_connected=False),
        ]
        answer = world.larch.coach.post("/v1/imports", json={"trials": trials})
        assert [e["pointer"] for e in answer.json()["errors"]] == [
            "/trials/1/load_ohm", "/trials/2/load_ohm",
        ]  # fmt: skip

    @pytest.mark.parametrize("body", [{}, {"trials": {}}, {"trials": [], "x": 1}, []])
    def test_another_shape_is_refused(self, body, world: World):
        assert world.larch.coach.post("/v1/imports", json=body).status_code == 422

    def test_items_of_another_shape_are_faults(self, world: World):
        answer = world.larch.coach.post("/v1/imports", json={"trials": [1, None, "x", []]})
        assert answer.status_code == 422
        assert len(answer.json()["errors"]) == 4

    def test_one_trial_twice_in_a_batch_is_one(self, world: World):
        trials = [trial_payload(world.larch, client_ref="one")] * 2
        done = created(world.larch.coach.post("/v1/imports", json={"trials": trials}))
        assert [row["outcome"] for row in done["rows"]] == ["created", "unchanged"]


class TestTemplate:
    @pytest.mark.parametrize(
        ("delimiter", "sign"), [("comma", ","), ("semicolon", ";"), ("tab", "\t")]
    )
    def test_it_has_every_column_and_its_examples_are_passed_over(
        self, delimiter, sign, world: World
    ):
        answer = world.larch.coach.get(
            f"/v1/templates/trials.csv?delimiter={delimiter}&decimal=comma"
        )
        header = answer.content.decode("utf-8-sig").splitlines()[0]
        assert header.split(sign) == list(COLUMNS)
        done = created(send(world.larch.coach, answer.content))
        assert done["trials"] == {"created": 0, "unchanged": 0, "error": 0}
        assert done["rows"] == []
