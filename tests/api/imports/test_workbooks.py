"""Workbooks are imported like any file, and cannot do harm."""

import io
import zipfile

import openpyxl
import pytest

from tests.support.hostile_files import shared_text
from tests.support.makers import World, created
from tests.support.workbooks import HEADER, trial, workbook

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def send(client, body, **parameters):
    return client.post(
        "/v1/imports", params=parameters, content=body, headers={"Content-Type": XLSX}
    )


def with_part(body, name, content):
    """Return a workbook with one more part in it."""
    out = io.BytesIO(body)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as file:
        file.writestr(name, content)
    return out.getvalue()


def far_cell():
    """Return a small workbook whose one row claims to be the last possible one."""
    book = openpyxl.Workbook()
    book.active.append(HEADER)
    book.active.cell(row=1_048_576, column=1, value="x")
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


class TestTaken:
    def test_cells_are_read_as_they_would_be_typed(self, world: World):
        body = workbook(trial("x-1", 1.3), trial("x-1", 1.31), trial("x-2", 1.4))
        stored = created(send(world.larch.coach, body))
        assert stored["format"] == "xlsx"
        assert stored["understood"]["sheet"] == "Trials"
        assert stored["trials"] == {"created": 2, "unchanged": 0, "error": 0}
        one = world.larch.coach.get(f"/v1/trials/{stored['rows'][0]['id']}").json()
        assert [run["voltage_v"] for run in one["runs"]] == [1.3, 1.31]
        assert one["result"]["wind_speed_m_s"] == pytest.approx(4.1)

    def test_twice_it_changes_nothing(self, world: World):
        body = workbook(trial("x-1", 1.3))
        created(send(world.larch.coach, body))
        assert created(send(world.larch.coach, body))["outcomes"]["unchanged"] == 1

    def test_in_a_form(self, world: World):
        answer = world.larch.coach.post(
            "/v1/imports", files={"file": ("march.xlsx", workbook(trial("x-1", 1.3)), XLSX)}
        )
        assert created(answer)["format"] == "xlsx"

    def test_faults_name_row_and_column(self, world: World):
        answer = send(world.larch.coach, workbook(trial("x-1", 1.3), trial("x-2", "1.l9")))
        (error,) = answer.json()["errors"]
        assert (answer.status_code, error["row"], error["column"]) == (422, 3, "voltage_v")

    def test_empty_rows_and_columns_at_the_end_are_nothing(self, world: World):
        body = workbook([*trial("x-1", 1.3), None, None], [None] * 12, [None] * 12)
        assert created(send(world.larch.coach, body))["understood"]["rows"] == 1

    def test_a_dry_run_shows_the_first_rows_as_understood(self, world: World):
        body = workbook(*(trial(f"x-{at}", 1.3 + at / 100) for at in range(7)))
        tried = send(world.larch.coach, body, dry_run=True).json()
        first = tried["understood"]["first_rows"]
        assert [row["row"] for row in first] == [2, 3, 4, 5, 6]
        assert first[0]["voltage_v"] == 1.3


class TestRefused:
    @pytest.mark.parametrize(
        ("make", "words"),
        [
            pytest.param(lambda: b"PK\x03\x04 and no more", "not a workbook", id="broken"),
            pytest.param(lambda: b"\xd0\xcf\x11\xe0" + b"\0" * 600, "password", id="encrypted"),
            pytest.param(
                lambda: with_part(workbook(), "xl/vbaProject.bin", b"x"), "macros", id="macros"
            ),
            pytest.param(
                lambda: with_part(workbook(), "xl/externalLinks/externalLink1.xml", b"<a/>"),
                "links", id="links",
            ),
            pytest.param(
                lambda: with_part(workbook(), "xl/media/bomb.xml", b"0" * 300_000_000),
                "far larger", id="a bomb",
            ),
            pytest.param(far_cell, "more than", id="a far cell"),
            pytest.param(
                lambda: workbook(list(range(300)), header=[f"c{n}" for n in range(300)]),
                "columns", id="columns",
            ),
        ],
    )  # fmt: skip
    def test_with_the_reason(self, make, words, world: World):
        answer = send(world.larch.coach, make())
        assert answer.status_code == 422, answer.text
        assert words in answer.json()["detail"]
        assert world.larch.coach.get("/v1/meta").status_code == 200

    @pytest.mark.parametrize(
        ("length", "words"), [(30_000, "far more text"), (40_000, "32767 characters")]
    )
    def test_text_that_unpacks_to_more_than_a_season_holds(self, length, words, world: World):
        """One shared text in 3,000 rows: a few kilobytes that would be 90 MB of cells."""
        body = shared_text(length, 3_000)
        assert len(body) < 20_000
        answer = send(world.larch.coach, body)
        assert answer.status_code == 422
        assert words in answer.json()["detail"]

    def test_many_sheets(self, world: World):
        book = openpyxl.Workbook()
        for number in range(300):
            book.create_sheet(f"s{number}")
        out = io.BytesIO()
        book.save(out)
        assert send(world.larch.coach, out.getvalue()).status_code == 422

    def test_a_formula_without_its_value_is_an_empty_cell(self, world: World):
        answer = send(world.larch.coach, workbook(trial("x-1", "=1.3*2")))
        assert answer.status_code == 422
        assert "voltage" in answer.text or "reading" in answer.text
