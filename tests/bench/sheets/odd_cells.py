"""Cells that are odd in one way each, with the value that a person means."""

from collections.abc import Callable
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from tests.bench.sheets.spelling import short, spell
from tests.bench.sheets.words import FIRST_DAY, NO_VALUE, Cell, Typed

if TYPE_CHECKING:
    from tests.bench.sheets.drawing import Drawing


def _in_cell(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    space = drawing.rng.choice((" ", "", "\u00a0"))
    sign = drawing.rng.choice((typed.unit.sign, *typed.unit.other_signs))
    return Cell(f"{drawing.spelled(typed.number)}{space}{sign}"), "typed"


def _percent_sign(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(drawing.spelled(typed.number) + drawing.rng.choice((" %", "%"))), "typed"


def _fraction(drawing: "Drawing", name: str, typed: Typed) -> tuple[Cell, Any]:
    share = typed.number / 100
    is_native = drawing.habits.is_workbook and name not in drawing.text_columns
    return Cell(drawing.spelled(share), float(share) if is_native else None), "typed"


def _other_decimal(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    own = drawing.habits.decimal
    other = "." if own == "," else ","
    return Cell(spell(typed.number, other, drawing.rng.choice(("", own)))), "typed"


def _scientific(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    text = f"{typed.number:.{len(typed.number.as_tuple().digits) - 1}E}"
    return Cell(text.replace(".", drawing.habits.decimal)), "typed"


def _spaced(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(drawing.rng.choice((" {} ", "\u00a0{}", "{}\u00a0", "'{}", "+{}")).format(
        drawing.spelled(typed.number))), "typed"  # fmt: skip


def _negative(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    text = drawing.spelled(typed.number)
    form = drawing.rng.choice(("-{}", "\u2212{}", "\u2013{}", "{}-", "({})", "- {}"))
    return Cell(form.format(text)), "typed"


def _remark(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    text, more = (drawing.spelled(each) for each in (typed.number, typed.number + 1))
    meant = ("{}?", "ca. {}", "~{}", "{}*", "{} (2nd try)")
    unclear = ("{}-{}", "{}/{}", "{} {}", "<{}", "{};{}", "{} 1/2", "{}:{}")
    if drawing.rng.random() < 0.4:
        return Cell(drawing.rng.choice(meant).format(text)), "typed"
    return Cell(drawing.rng.choice(unclear).format(text, more)), NO_VALUE


def _became_date(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    day = FIRST_DAY + timedelta(days=int(typed.number) % 90)
    if drawing.habits.is_workbook:
        shown = drawing.rng.choice(("d. mmm", "d-mmm", "mmm yy", "m/d/yyyy"))
        return Cell(value=datetime.combine(day, time()), number_format=shown), NO_VALUE
    return Cell(short(day.strftime(drawing.rng.choice(("%d. %b", "%d-%b", "%d.%m.", "%b %y"))))), \
        NO_VALUE  # fmt: skip


def _tick_in_number(drawing: "Drawing", _name: str, _typed: Typed) -> tuple[Cell, Any]:
    return Cell("TRUE", True if drawing.habits.is_workbook else None), NO_VALUE


def _empty(_drawing: "Drawing", _name: str, _typed: Typed) -> tuple[Cell, Any]:
    return Cell(""), None


def _percent_format(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    literal = drawing.rng.choice(('0.####"%"', "0.####\\%", '0.#### "%"'))
    if drawing.rng.random() < 0.4:
        return Cell(value=float(typed.number), number_format=literal), "typed"
    shown = drawing.rng.choice(("0%", "0.00%", "0 %"))
    return Cell(value=float(typed.number / 100), number_format=shown), "typed"


def _scaled_format(_drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(value=float(typed.number * 1000), number_format="0.0###,"), "typed"


def _unit_format(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    sign = typed.unit.sign
    letter_by_letter = "0.####\\ " + "".join(f"\\{letter}" for letter in sign)
    forms = (f'0.####" {sign}"', f'0.####"{sign}"', f'General" {sign}"', letter_by_letter,
             f"0.#### [${sign}]")  # fmt: skip
    return Cell(value=float(typed.number), number_format=drawing.rng.choice(forms)), "typed"


def _formula(_drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(formula=f"={typed.number}+0"), "typed"


def _formula_with_result(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    if drawing.rng.random() < 0.3:
        text = drawing.spelled(typed.number)
        return Cell(formula=f'="{text}"', cached=text, cached_type="str"), "typed"
    return Cell(formula=f"={typed.number}+0", cached=str(typed.number), cached_type="n"), "typed"


def _formula_in_error(_drawing: "Drawing", _name: str, _typed: Typed) -> tuple[Cell, Any]:
    return Cell(formula="=1/0", cached="#DIV/0!", cached_type="e"), NO_VALUE


def _as_text(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(drawing.spelled(typed.number)), "typed"


def _time_number(drawing: "Drawing", _name: str, typed: Typed) -> tuple[Cell, Any]:
    if drawing.rng.random() < 0.5:
        return Cell(value=time(0, int(typed.number)), number_format="h:mm"), "typed"
    return Cell(f"0:{int(typed.number):02}"), "typed"


ODD_CELLS: dict[str, Callable[["Drawing", str, Typed], tuple[Cell, Any]]] = {
    "unit in cells": _in_cell,
    "percent sign": _percent_sign,
    "humidity as a fraction": _fraction,
    "other decimal sign in a column": _other_decimal,
    "scientific notation": _scientific,
    "spaces around numbers": _spaced,
    "minus sign": _negative,
    "remark in a number": _remark,
    "number turned into a date": _became_date,
    "tick in a number": _tick_in_number,
    "cells left empty": _empty,
    "percent format": _percent_format,
    "format that scales": _scaled_format,
    "unit in the format": _unit_format,
    "formula without a result": _formula,
    "formula with a result": _formula_with_result,
    "formula in error": _formula_in_error,
    "numbers as text": _as_text,
    "time as a number": _time_number,
}


# Spelling ---------------------------------------------------------------------------------------
