"""Successful imports, for every file format and mode."""

import io

import pytest

from api.services.imports.headers import TEMPLATE_COLUMNS
from tests.support.makers import World, created, trial_payload
from tests.support.sheets import HEADER, ROW, faults, send, sheet, stored, three_runs


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

    def test_a_reference_run_is_in_the_session_of_its_hour(self, world: World):
        """Summer time in Dublin: 10:00 of team and reference rotor are one session, 09:00 UTC."""
        path = f"/v1/seasons/{world.season_id}"
        tag = {"If-Match": world.lead.get(path).headers["ETag"]}
        zone = {"timezone": "Europe/Dublin"}
        assert world.lead.patch(path, json=zone, headers=tag).status_code == 200
        row = ROW.replace("2026-03-12 14:30", "2026-04-16 10:00")
        team = row.format(ref="r1", volts="1.20")
        names = team.split(",")
        about = ["Larch school", "", "Reference rotor 1", *names[3:6], "reference", "ref-1"]
        rotor = ",".join([*about, *names[8:]])
        stored = send(world.lead, sheet(team, rotor))
        assert stored.status_code == 201, stored.text
        assert stored.json()["sessions_created"] == 1
        trial = world.lead.get(f"/v1/trials/{stored.json()['rows'][1]['id']}").json()
        session = world.lead.get(f"/v1/sessions/{trial['session_id']}").json()
        assert session["started_at"] == "2026-04-16T09:00:00Z"


class TestRowsTogether:
    def test_a_session_is_what_all_its_rows_say(self, world: World):
        bare = ROW.format(ref="a", volts="1.2").replace("22,950,yes", ",,yes")
        full = ROW.format(ref="b", volts="1.2")
        done = created(send(world.larch.coach, sheet(bare, full)))
        assert done["trials"]["created"] == 2
        trial = world.larch.coach.get(f"/v1/trials/{done['rows'][0]['id']}").json()
        session = world.larch.coach.get(f"/v1/sessions/{trial['session_id']}").json()
        assert (session["pressure_hpa"], session["adult_present"]) == (950, True)

    def test_case_spaces_and_notes_do_not_part_runs(self, world: World):
        first, second, third = (
            f"{row},{note}" for row, note in zip(three_runs("a"), "xyx", strict=True)
        )
        second = second.replace("Larch one", "larch  ONE").replace("12 14:30", "12T14:30")
        done = created(
            send(world.larch.coach, sheet(first, second, third, header=HEADER + ",note"))
        )
        assert done["trials"] == {"created": 1, "unchanged": 0, "error": 0}
        trial = world.larch.coach.get(f"/v1/trials/{done['rows'][0]['id']}").json()
        assert trial["note"] == "x; y"

    def test_a_name_that_only_begins_like_an_example_is_taken(self, world: World):
        done = created(send(world.larch.coach, sheet(*three_runs("Exampleton-7"))))
        assert done["trials"]["created"] == 1

    def test_an_exact_name_wins_over_one_in_other_case(self, world: World):
        facts = {
            "organisation_id": world.larch.organisation_id,
            "season_id": world.season_id,
            "name": "LARCH ONE",
        }
        created(world.larch.coach.post("/v1/teams", json=facts))
        assert created(send(world.larch.coach, sheet(*three_runs())))["trials"]["created"] == 1

    def test_a_dry_run_tells_what_the_checks_will_say(self, world: World):
        content = sheet(*three_runs("a", volts=("1.2", "1.2", "0.9")))
        row = send(world.larch.coach, content, dry_run=True).json()["rows"][0]
        assert row["state"] == "held"
        assert "Your readings disagree" in row["flags"][0]

    def test_runs_of_one_trial_say_alike_what_they_say_otherwise(self):
        from api.services.imports.cells import signs_of
        from api.services.imports.grouping import group
        from api.services.imports.sheet import read_sheet
        from api.services.imports.table import read_table

        lines = ["team,run,blade_pitches_deg,load_connected,voltage_v",
                 "Larch One,1,0 12.0,yes,1.2", "larch  one,2,-0 12,true,1.3",
                 "Larch One,3,0 12,y,1.4", "Larch One,4,0 13,yes,1.4"]  # fmt: skip
        read = read_sheet("\n".join(lines).encode(), 100)
        trials = group(read_table(read, signs_of(read)).rows())
        assert [[row.number for row in trial.rows] for trial in trials] == [[2, 3, 4], [5]]

    def test_a_file_that_cannot_be_split_is_refused_before_a_wrong_title(self, world: World):
        refused = send(world.larch.coach, 'team,wrong\nLarch One,"x\n')
        assert [(fault["code"], fault["row"]) for fault in refused.json()["errors"]] == [
            ("quoting", 2)
        ]

    def test_many_rows_without_names_are_grouped_quickly(self):
        from api.services.imports.grouping import group
        from api.services.imports.table import Table

        volts = [float(each) for each in range(20_000)]
        table = Table(list(range(2, 20_002)), {"voltage_v": volts}, {"voltage_v": "voltage_v"})
        assert len(group(table.rows())) == 20_000


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
            "/trials/1/load_ohm", "/trials/2/load_connected",
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
        assert header.split(sign) == list(TEMPLATE_COLUMNS)
        done = created(send(world.larch.coach, answer.content))
        assert done["trials"] == {"created": 0, "unchanged": 0, "error": 0}
        assert done["rows"] == []
