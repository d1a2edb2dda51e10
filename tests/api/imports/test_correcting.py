"""Single cells of a sheet are corrected, and all others stay unchanged."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.services.imports.correcting import correct

CELLS = st.text(st.characters(codec="utf-8", exclude_characters="\r\0\n"), max_size=12)


def cells_of(text, delimiter):
    return list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_a_cell_is_replaced_whatever_stands_between_cells(sign):
    text = f"team{sign}volts\nLarch{sign}1,l9\n".replace("1,l9", '"1,l9"')
    assert cells_of(correct(text, {(2, "volts"): "1,19"}, 9), sign)[1] == ["Larch", "1,19"]


def test_the_line_that_names_the_delimiter_stays():
    assert correct("sep=;\na;b\n1;2\n", {(2, "b"): "3"}, 9) == "sep=;\na;b\n1;3\n"


@pytest.mark.parametrize("place", [(1, "c"), (9, "b"), (2, "nothing")])
def test_a_place_that_is_not_there_changes_nothing(place):
    assert correct("a;b\n1;2\n", {place: "3"}, 9) == "a;b\n1;2\n"


def test_a_row_that_is_too_short_grows_to_the_cell():
    assert correct("a;b;c\n1\n", {(2, "c"): "3"}, 9) == "a;b;c\n1;;3\n"


@given(st.lists(st.lists(CELLS, min_size=3, max_size=3), min_size=1, max_size=5), CELLS)
def test_every_other_cell_stays_as_it_was(rows, value):
    out = io.StringIO()
    csv.writer(out, delimiter=";", lineterminator="\n").writerows([["a", "b", "c"], *rows])
    corrected = cells_of(correct(out.getvalue(), {(2, "b"): value}, 99), ";")
    expected = [["a", "b", "c"], [rows[0][0], value, rows[0][2]], *rows[1:]]
    assert corrected == expected
