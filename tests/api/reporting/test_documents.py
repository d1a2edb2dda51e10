"""Printed reports: one self-contained page, plots with their numbers, PDF, and nothing executed."""

import io
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import pandas as pd
import pytest
import typst

from api.services.reporting.charts.axes import axis
from api.services.reporting.charts.chart import Chart
from api.services.reporting.documents import pdf
from api.services.reporting.documents.blocks import Document, Heading, Items, Plot, Table, Text
from api.services.reporting.documents.page import to_html
from tests.support.makers import World, created, trial_payload

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = '<script>alert(1)</script> "& #panic() $x$ \\evil `Łąka`'


def kinds(world):
    return {
        "season": f"/v1/seasons/{world.season_id}/report",
        "school": f"/v1/organisations/{world.larch.organisation_id}/report",
        "team": f"/v1/teams/{world.larch.team_id}/report",
        "event": f"/v1/events/{world.larch.event_id}/sheet",
        "equipment": "/v1/equipment-list",
    }


KINDS = ("season", "school", "team", "event", "equipment")


@pytest.mark.parametrize("kind", KINDS)
class TestEveryReport:
    def test_the_page_needs_nothing_else(self, kind, world: World):
        answer = world.larch.coach.get(kinds(world)[kind], params={"format": "html"})
        assert answer.status_code == 200
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; style-src 'sha256-")
        for outside in ("http://", "https://", "src=", "@import", "url(", "<script", " style="):
            assert outside not in answer.text.replace("http://www.w3.org/2000/svg", ""), outside
        assert "25 November" in answer.text or "as of" in answer.text
        assert "<h1>" in answer.text

    def test_as_pdf(self, kind, world: World):
        answer = world.larch.coach.get(kinds(world)[kind], params={"format": "pdf"})
        assert answer.headers["content-type"] == "application/pdf"
        assert answer.headers["content-disposition"].endswith('.pdf"')
        assert answer.content.startswith(b"%PDF-")
        accepted = world.larch.coach.get(kinds(world)[kind], headers={"Accept": "application/pdf"})
        assert accepted.content.startswith(b"%PDF-")

    def test_as_json_and_csv(self, kind, world: World):
        path = kinds(world)[kind]
        assert world.larch.coach.get(path).headers["content-type"] == "application/json"
        text = world.larch.coach.get(path, params={"format": "csv"}).text
        header, *rows = text.splitlines()
        assert "," in header
        assert rows

    def test_as_workbook_with_the_numbers_of_the_csv(self, kind, world: World):
        """Pandas reads both, and finds the same; in the workbook each column has its type."""
        path = kinds(world)[kind]
        text = world.larch.coach.get(path, params={"format": "csv"}).text
        answer = world.larch.coach.get(path, params={"format": "xlsx"})
        assert answer.headers["content-disposition"].endswith('.xlsx"')
        sheets = pd.read_excel(io.BytesIO(answer.content), sheet_name=None)
        rows, columns = sheets.values()
        of_csv = pd.read_csv(io.StringIO(text))
        assert list(columns["name"]) == list(rows.columns) == list(of_csv.columns)
        for name in rows.columns:
            if name.endswith(("_at", "_on")):
                of_csv[name] = pd.to_datetime(of_csv[name]).dt.tz_localize(None)
                rows[name] = pd.to_datetime(rows[name])
        pd.testing.assert_frame_equal(rows, of_csv, check_dtype=False, rtol=1e-12)

    def test_nothing_of_another_school_is_in_it(self, kind, world: World):
        for form in ("html", "json", "csv"):
            text = world.larch.coach.get(kinds(world)[kind], params={"format": form}).text
            assert "Birch" not in text
            assert world.birch.team_id not in text


class TestWhatTheyTell:
    def page(self, client, path):
        return client.get(path, params={"format": "html"}).text

    def test_a_teams_number_what_changed_and_what_next(self, world: World):
        for speed, volts in ((3.3, 0.95), (4.0, 1.2), (4.8, 1.5)):
            runs = [{"voltage_v": volts}, {"voltage_v": volts + 0.01}]
            trial = trial_payload(world.larch, kind="wind", wind_speed_m_s=speed, runs=runs)
            created(world.larch.coach.post("/v1/trials", json=trial))
        text = self.page(world.larch.coach, kinds(world)["team"])
        items = [
            "Our number",
            "What to try next",
            "Power of Larch one over the season",
            "Build 1: power over wind",
            "The numbers of this plot",
            "risk assessment",
        ]
        assert [words for words in items if words not in text] == []
        assert text.count('class="chart"') == 2 * len(("for a phone", "for a larger screen"))

    def test_a_rotor_that_did_not_start_in_little_wind(self, world: World):
        for speed, volts in ((2.2, 0.0), (3.3, 0.95), (4.0, 1.2), (4.8, 1.5)):
            runs = [{"voltage_v": volts}, {"voltage_v": volts}]
            trial = trial_payload(world.larch, kind="wind", wind_speed_m_s=speed, runs=runs)
            created(world.larch.coach.post("/v1/trials", json=trial))
        for form in ("html", "pdf"):
            answer = world.larch.coach.get(kinds(world)["team"], params={"format": form})
            assert answer.status_code == 200

    def test_what_was_left_out_and_why(self, world: World):
        created(world.larch.coach.post("/v1/trials", json=trial_payload(
            world.larch, runs=[{"voltage_v": 1.2}, {"voltage_v": 0.8}])))  # fmt: skip
        for kind in ("season", "team"):
            text = self.page(world.larch.coach, kinds(world)[kind])
            assert "Stored and not counted" in text
            assert "1 trial: needing an answer to a data check" in text

    def test_the_event_sheet_has_order_and_readiness(self, world: World):
        text = self.page(world.lead, kinds(world)["event"])
        assert "reference rotor" in text
        assert "not inspected yet" in text
        assert "Drawn with seed 1" in text

    def test_overdue_equipment_comes_first(self, world: World):
        text = self.page(world.larch.coach, kinds(world)["equipment"])
        assert text.index("Overdue") < text.index("All equipment")
        assert "Larch-other, with Larch school" in text  # due on 1 June 2026


class TestWords:
    DOCUMENT_BLOCKS = (
        Heading(HOSTILE), Text(HOSTILE, "callout"), Text(HOSTILE, "quiet"), Items([HOSTILE]),
        Table(("A", HOSTILE), [(HOSTILE, "two\nlines")], HOSTILE),
    )  # fmt: skip

    def document(self):
        from datetime import UTC, datetime

        chart = Chart(HOSTILE, HOSTILE, axis([1, 2], HOSTILE), axis([1, 2], HOSTILE))
        chart.upright(1.5, HOSTILE)
        plot = Plot(chart, Table(("A",), [(HOSTILE,)]))
        blocks = (*self.DOCUMENT_BLOCKS, plot)
        return Document(HOSTILE, HOSTILE, datetime(2026, 3, 5, tzinfo=UTC), blocks, [HOSTILE])

    def test_whatever_people_type_stays_text_on_a_page(self):
        text = to_html(self.document())
        assert "<script" not in text
        assert text.count("&lt;script&gt;") >= 12

    def test_and_on_paper(self):
        """Typst would stop at #panic, were it read as markup."""
        assert pdf.to_pdf(self.document()).startswith(b"%PDF-")

    def test_two_are_set_at_a_time(self, monkeypatch):
        """Each takes 200 MB when it is large: twelve at once took 2.1 GB."""
        at_once, turn = Counter(), threading.Lock()

        def setting(*_, **__):
            with turn:
                at_once["now"] += 1
                at_once["most"] = max(at_once["most"], at_once["now"])
            time.sleep(0.02)
            with turn:
                at_once["now"] -= 1
            return b"%PDF-"

        monkeypatch.setattr(typst, "compile", setting)
        with ThreadPoolExecutor(12) as pool:
            list(pool.map(pdf.to_pdf, [self.document()] * 12))
        assert at_once["most"] == pdf.SET_TOGETHER
