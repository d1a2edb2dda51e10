"""The import page: accepted files, the preview before storing, and undoing."""

import io
import re

import openpyxl
import pytest

from tests.support.sheets import ROW, sheet, stored, three_runs
from tests.support.workbooks import trial as row_of
from tests.support.workbooks import workbook

ODD = sheet(
    *three_runs("r1"), ROW.format(ref="r2", volts="1.20"), ROW.format(ref="r2", volts="1.9")
)
WRONG = sheet(*three_runs("r1"), ROW.format(ref="r2", volts="1.l9"))


def look(browser, cells, **typed):
    return browser.post("/imports", data={"cells": cells, "step": "look"} | typed)


def store(browser, cells, **typed):
    return browser.post("/imports", data={"cells": cells, "step": "store"} | typed)


@pytest.fixture
def coach(world, visiting):
    return visiting(world.larch.coach_key)


class TestAsked:
    def test_a_number_with_two_readings_is_asked_in_one_screen(self, coach, world):
        wide = sheet(*three_runs("n1")).replace("voltage_v", "voltage_mv").replace("1.2", "1.20")
        cells = "\n".join(
            line.replace("1.200", "1.200").replace(",4.2,", ",4,").replace(",30.1,", ",30,")
            for line in wide.replace("1.19", "1.190").replace("1.201", "1.210").split("\n")
        )
        page = look(coach, cells)
        assert page.status_code == 422
        assert "1200 mV = 1.2 V (decimal comma)" in page.text
        assert "1.2 mV = 0.0012 V (decimal point)" in page.text
        again = look(coach, cells, decimal="comma")
        assert 'type="hidden" name="decimal" value="comma"' in again.text
        done = store(coach, cells, decimal="comma", looked="yes")
        assert done.status_code in (200, 303)
        (trial,) = [each for each in stored(world) if each["client_ref"] == "n1"]
        assert [run["voltage_v"] for run in trial["runs"]] == [1.2, 1.19, 1.21]

    def test_what_of_a_workbook_is_hidden_is_listed(self, coach):
        body = io.BytesIO()
        book = openpyxl.load_workbook(io.BytesIO(workbook(row_of("w1", 1.2), row_of("w1", 1.3))))
        book.active.row_dimensions[3].hidden = True
        book.save(body)
        page = coach.post(
            "/imports", data={"step": "look"}, files={"file": ("a.xlsx", body.getvalue())}
        )
        assert "hidden rows: 3" in page.text
        assert "Nothing is left out" not in page.text
        assert "1.3" not in page.text


class TestRefused:
    @pytest.mark.parametrize(
        ("cells", "says"),
        [
            ("", "Choose a file or paste cells first"),
            ("\n \n", "Choose a file or paste cells first"),
            ("team,build", "titles and no row"),
            ("tem,voltage_v\nx,1\n", "team"),
            ('team,voltage_v\n"x,1\n', "cannot be cut into cells"),
        ],
    )
    def test_what_cannot_be_read_says_why_and_keeps_the_cells(self, cells, says, coach):
        page = look(coach, cells)
        assert page.status_code == 422
        assert says in page.text
        assert "Nothing is saved yet" in page.text
        if cells.strip():
            assert cells.split("\n", maxsplit=1)[0].replace('"', "&#34;") in page.text

    def test_characters_of_an_older_program_are_read(self, coach):
        body = "team,build,note\nLärche,1,x\n".encode("cp1252")
        page = coach.post("/imports", data={"step": "look"}, files={"file": ("a.csv", body)})
        assert page.status_code == 422
        assert "Lärche" in page.text

    def test_a_wrong_cell_stores_nothing_unless_the_good_rows_are_asked_for(self, coach, world):
        before = len(stored(world))
        page = store(coach, WRONG)
        assert page.status_code == 422
        assert "1.l9" in page.text
        assert len(stored(world)) == before
        assert store(coach, WRONG, mode="partial", looked="yes").status_code == 303
        assert len(stored(world)) == before + 1

    def test_a_title_is_corrected_beside_what_is_wrong_with_it(self, coach, world):
        odd = sheet(*three_runs("r1")).replace("client_ref", "Clientt_ref", 1)
        page = look(coach, odd)
        assert 'name="correct:1:Clientt_ref" value="Clientt_ref"' in page.text
        corrected = look(coach, odd, **{"correct:1:Clientt_ref": "client_ref"})
        assert corrected.status_code == 200
        assert "is not a column" not in corrected.text

    def test_what_looks_odd_is_ticked_first(self, coach, world):
        before = len(stored(world))
        shown = look(coach, ODD)
        assert shown.status_code == 200
        assert 'name="looked"' in shown.text
        assert "needs an answer" in shown.text
        unticked = store(coach, ODD)
        assert unticked.status_code == 422
        assert "First tick below" in unticked.text
        assert "How it was read" in unticked.text
        assert 'name="looked"' in unticked.text
        counted = re.compile(r"New rows: \d+; .*?\.")
        assert counted.findall(unticked.text) == counted.findall(shown.text) != []
        assert len(stored(world)) == before
        assert store(coach, ODD, looked="yes").status_code == 303
        assert [each["state"] for each in stored(world)].count("held") == 1

    def test_an_undo_without_a_reason(self, coach, world):
        place = store(coach, sheet(*three_runs()), looked="yes").headers["location"]
        page = coach.post(f"{place}/undo", data={"reason": " "})
        assert page.status_code == 422
        assert "This is needed" in page.text

    def test_an_undo_that_later_work_stands_on(self, coach, world):
        place = store(coach, sheet(*three_runs()), looked="yes").headers["location"]
        imported = world.larch.coach.get(f"/v1{place}").json()
        trial = imported["rows"][0]["id"]
        fix = {"reason": "misread", "changes": {"load_ohm": 31.0}}
        assert (
            world.larch.coach.post(f"/v1/trials/{trial}/corrections", json=fix).status_code == 201
        )
        page = coach.post(f"{place}/undo", data={"reason": "wrong file"})
        assert page.status_code == 422
        assert "corrected, withdrawn or answered for since" in page.text


class TestTaken:
    def test_a_workbook_becomes_cells_to_correct(self, coach, world):
        body = workbook(row_of("x-1", 1.2), row_of("x-2", "1.l9"))
        page = coach.post("/imports", data={"step": "look"}, files={"file": ("t.xlsx", body)})
        assert page.status_code == 422
        cells = re.search(r"<textarea[^>]*>\n(.*?)</textarea>", page.text, re.S)[1]
        assert "1.l9" in cells
        corrected = cells.replace("&#34;", '"').replace("1.l9", "1.19")
        assert "New rows: 2" in look(coach, corrected).text
        assert store(coach, corrected, looked="yes").status_code == 303

    def test_a_cell_is_corrected_beside_what_is_wrong_with_it(self, coach, world):
        page = look(coach, WRONG)
        assert 'name="correct:5:voltage_v" value="1.l9"' in page.text
        corrected = look(coach, WRONG, **{"correct:5:voltage_v": "1.19"})
        assert corrected.status_code == 200
        assert "New rows: 4" in corrected.text
        assert "1.l9" not in corrected.text

    def test_a_column_that_only_a_later_row_fills_is_shown_as_understood(self, coach):
        head = "team,build,bench,session_started_at,client_ref,load_ohm,load_connected,voltage_v\n"
        rows = "Larch one,1,Larch hall,2026-03-12 14:30,{},30.1,{},1.2\n"
        page = look(coach, head + rows.format("a", "ja") + rows.format("b", "yes"))
        assert '<th scope="col">load connected</th>' in page.text

    def test_empty_cells_at_the_end_of_the_last_row_are_kept(self, coach):
        head = "team\tbuild\tbench\tsession_started_at\tclient_ref\tload_ohm\tload_connected"
        row = "Larch one\t1\tLarch hall\t2026-03-12 14:30\tq\t30.1\tyes\t1.2\tyes\t\t"
        page = look(coach, f"{head}\tvoltage_v\tadult_present\tduration_s\tnote\n{row}")
        assert "New rows: 1" in page.text

    def test_looking_stores_nothing_however_often(self, coach, world):
        before = stored(world)
        for _ in range(3):
            assert "New rows: 3" in look(coach, sheet(*three_runs())).text
        assert stored(world) == before

    def test_the_same_sheet_again_changes_nothing(self, coach, world):
        assert store(coach, sheet(*three_runs()), looked="yes").status_code == 303
        before = stored(world)
        again = coach.get(store(coach, sheet(*three_runs()), looked="yes").headers["location"])
        assert "New rows: 0; known already: 3" in again.text
        assert stored(world) == before

    def test_a_double_click_is_one_import(self, coach, world):
        typed = {"looked": "yes", "form_key": "y" * 20}
        places = {store(coach, sheet(*three_runs()), **typed).headers["location"] for _ in "ab"}
        assert len(places) == 1

    def test_another_file_in_the_same_form_is_another_import(self, coach, world):
        typed = {"step": "store", "looked": "yes", "form_key": "z" * 20}
        places = set()
        for ref in ("f1", "f2", "f2"):
            file = {"file": ("t.csv", sheet(*three_runs(ref)).encode())}
            places.add(coach.post("/imports", data=typed, files=file).headers["location"])
        assert len(places) == 2

    def test_a_long_file_is_chosen_again_instead_of_corrected_here(self, coach):
        rows = [ROW.format(ref=f"r{at}", volts="1.20") for at in range(700)]
        page = look(coach, sheet(*rows))
        assert "New rows: 700" in page.text
        assert "<textarea" not in page.text
        assert "too long to be corrected here" in page.text
        assert len(page.content) < 200_000
        file = {"file": ("t.csv", sheet(*rows).encode())}
        done = coach.post("/imports", data={"step": "store", "looked": "yes"}, files=file)
        assert done.status_code == 303

    def test_the_wrong_rows_come_as_a_file(self, coach):
        place = store(coach, WRONG, mode="partial", looked="yes").headers["location"]
        assert f"{place}/errors.csv" in coach.get(place).text
        assert "1.l9" in coach.get(f"{place}/errors.csv").text

    @pytest.mark.parametrize(("decimal", "cell"), [("point", "1.20"), ("comma", "1,20")])
    def test_the_template_comes_in_either_decimal_sign(self, decimal, cell, coach):
        text = coach.get(f"/imports/template.csv?decimal={decimal}").text
        assert cell in text
        assert "New rows: 0" in look(coach, text.lstrip("\ufeff")).text or "titles" in text


KEPT = """Our tests
Group;Date;Bench;Build;Load;V1;V2;Wind (m/s);Pitch;Remarks
Larch one;26/3/26;Larch hall;1;22R;1,20;1,19;4,1;9;went well
;;;;;1,31;1,30;4,1;10;
Average;;;;;1,2;;;;
"""


class TestAsItIsKept:
    def test_what_is_asked_is_answered_in_one_screen(self, coach, world):
        page = look(coach, KEPT)
        assert "Row 5 summarises others" in page.text
        assert 'name="column:Remarks"' in page.text
        answers = {
            "same:time_of_day": "14:30", "same:load_connected": "yes", "same:adult_present": "yes",
            "column:Remarks": "note",
        }  # fmt: skip
        unchanged = {"correct:3:Date": "2026-03-26", "before:3:Date": "2026-03-26",
                     "correct:4:Date": "2026-03-26", "before:4:Date": "2026-03-26"}  # fmt: skip
        again = look(coach, KEPT, **answers, **unchanged)
        assert again.status_code == 200, again.text
        before = len(stored(world))
        assert store(coach, KEPT, looked="yes", **answers).status_code == 303
        assert len(stored(world)) == before + 2
        assert "went well" in [each["note"] for each in stored(world)]

    def test_a_fault_of_a_row_of_readings_is_listed_once(self, coach):
        page = look(coach, KEPT)
        assert page.text.count("has no time of day") == 2  # one for each row

    def test_a_column_without_a_title_is_chosen_from_a_list(self, coach, world):
        """Pressing the button again does not leave it out: that has to be chosen."""
        sheet = KEPT.replace("V2", "")
        assert sheet != KEPT
        page = look(coach, sheet)
        assert page.text.count("it has numbers, but no title") == 1
        assert 'value="not_read"' in page.text
        assert "it has numbers, but no title" in look(coach, sheet).text
        chosen = {"column:column G": "not_read"}
        assert "it has numbers" not in look(coach, sheet, **chosen).text

    def test_a_number_without_a_unit_is_asked_for_its_unit(self, coach):
        page = look(coach, "Team;Spannung\nLarch one;950 mV\nLarch one;940\n")
        assert "Write which unit this number is in" in page.text
