"""Write the rows of a drawn sheet as a CSV file or a workbook."""

import io

from openpyxl import Workbook
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.worksheet.worksheet import Worksheet

from tests.bench.sheets.spelling import completed, separated, without_empty_end
from tests.bench.sheets.words import OF_NAME, Cell, Row


class Writing:
    """The part of a drawing that writes its file."""

    def _lines(self, names: list[str]) -> str:
        lines = [[self.columns[name].title for name in names]]
        lines += [[row.cells[name].text for name in names] for row in self.rows]
        if self.has("short rows"):
            lines[1:] = [without_empty_end(line) for line in lines[1:]]
        if self.has("line above the titles"):
            lines.insert(0, ["Tests in the hall"])
        delimiter = self.habits.delimiter
        if self.has("decimal comma without quotes"):
            text = self.habits.newline.join(delimiter.join(line) for line in lines)
        else:
            text = separated(lines, self.habits)
        return f"sep={delimiter}{self.habits.newline}{text}" if self.has("sep= line") else text

    def _encoded(self, text: str) -> bytes:
        encoding = self.habits.encoding
        if encoding == "cp1252":
            try:
                return text.encode(encoding)
            except UnicodeEncodeError:
                return text.encode()
        mark = "\ufeff" if encoding.startswith("utf-16") else ""
        return (mark + text).encode(encoding)

    # A workbook

    def _workbook(self, names: list[str]) -> bytes:
        book = Workbook()
        if self.has("dates from 1904"):
            book.epoch = CALENDAR_MAC_1904
        sheet = book.active
        sheet.title = "Trials"
        offset = 1
        if self.has("line above the titles"):
            sheet.cell(1, 1, "Tests in the hall")
            offset = 2
        for number, name in enumerate(names, start=1):
            sheet.cell(offset, number, self.columns[name].title)
        cached = self._fill(sheet, names, offset)
        if self.has("merged cells"):
            self._merge(sheet, names, offset)
        if self.has("hidden column"):
            self._add_hidden_column(sheet, len(names) + 1, offset)
        self._add_sheets_before(book, names)
        content = io.BytesIO()
        book.save(content)
        return completed(content.getvalue(), cached, self.has("rows of no height"))

    def _fill(self, sheet: Worksheet, names: list[str], offset: int) -> dict[str, Cell]:
        """Write the rows; return the formulas with results, which are written afterwards."""
        cached = {}
        for number, row in enumerate(self.rows, start=offset + 1):
            for place, name in enumerate(names, start=1):
                cell = row.cells[name]
                written = sheet.cell(number, place)
                written.value = cell.formula or (cell.text if cell.value is None else cell.value)
                if cell.text == "" and cell.value is None and not cell.formula:
                    written.value = None
                written.number_format = cell.number_format
                if cell.cached is not None:
                    cached[written.coordinate] = cell
            if row.is_hidden:
                self._hide(sheet, number)
        if self.has("filtered rows"):
            last = get_column_letter(len(names))
            sheet.auto_filter.ref = f"A{offset}:{last}{offset + len(self.rows)}"
        return cached

    def _hide(self, sheet: Worksheet, number: int) -> None:
        if self.has("rows of no height"):
            sheet.row_dimensions[number].height = 0
        else:
            sheet.row_dimensions[number].hidden = True

    def _merge(self, sheet: Worksheet, names: list[str], offset: int) -> None:
        """Merge the equal cells that each trial or session has in one column."""
        candidates = [name for name in names if name in (
            "session_started_at", "client_ref", "load_ohm", "wind_speed_m_s", "pitch_deg",
            "air_temperature_c", "adult_present", "load_connected", "team")]  # fmt: skip
        name = self.rng.choice(candidates)
        place = names.index(name) + 1
        start = 0
        for end in range(1, len(self.rows) + 1):
            first = self.rows[start]
            if end < len(self.rows) and self._is_shared(name, first, self.rows[end]):
                continue
            if end - start > 1:
                sheet.merge_cells(start_row=offset + 1 + start, end_row=offset + end,
                                  start_column=place, end_column=place)  # fmt: skip
            start = end

    def _is_shared(self, name: str, one: Row, other: Row) -> bool:
        is_filled = one.cells[name] != Cell("") and one.trial != ""
        return is_filled and one.trial == other.trial and one.cells[name] == other.cells[name]

    def _add_hidden_column(self, sheet: Worksheet, place: int, offset: int) -> None:
        quantity = OF_NAME[self.rng.choice(("voltage_v", "load_ohm"))]
        other = next(u for u in quantity.units if u is not self.columns[quantity.name].unit)
        sheet.cell(offset, place, other.column)
        for number in range(offset + 1, offset + 1 + len(self.rows)):
            sheet.cell(number, place, 0.777)
        sheet.column_dimensions[get_column_letter(place)].hidden = True

    def _add_sheets_before(self, book: Workbook, names: list[str]) -> None:
        if self.has("sheet of words before"):
            words = book.create_sheet("Read me", 0)
            words["A1"] = "Type one row for each run into the next sheet."
            book.active = 1
        if self.has("hidden sheet before"):
            old = book.create_sheet("Old", 0)
            old.sheet_state = self.rng.choice(("hidden", "veryHidden"))
            for number, name in enumerate(names, start=1):
                old.cell(1, number, self.columns[name].title)
                cell = self.rows[-1].cells[name]
                old.cell(2, number, cell.text if cell.value is None else cell.value)
            old.cell(2, names.index("client_ref") + 1, "discarded")
            book.active = book.index(book["Trials"])

    def _preview(self, names: list[str]) -> list[str]:
        titles = " | ".join(self.columns[name].title for name in names)
        return [titles, *(self._preview_row(row, names) for row in self.rows)]

    def _preview_row(self, row: Row, names: list[str]) -> str:
        cells = " | ".join(row.cells[name].described(self.habits.is_workbook) for name in names)
        return ("(hidden) " if row.is_hidden else "") + cells


# Cells of the odd kinds -------------------------------------------------------------------------
