"""Reasons as text: invalid ones are refused, and code and numbers can be read back."""

import math
from urllib.parse import parse_qsl

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.reasons import parts_of, reason

CODES = st.from_regex(r"[a-z_]{1,20}", fullmatch=True)
NAMES = CODES.filter(lambda name: name != "code")
NUMBERS = st.integers(-99_999, 99_999) | st.floats(-1e9, 1e9)


@pytest.mark.parametrize(
    "text",
    ["", "a sentence", "Code", "code;", "code;least", "code;least=", "code;least=two", ";least=2",
     "code;least=2;", "code;least=1,5", "code least=2", "code\n", "code;least=1e", "code;a=1-2"],
)  # fmt: skip
def test_text_that_is_not_a_reason_is_refused(text):
    with pytest.raises(ValueError):  # noqa: PT011  # what float or int says of the number is theirs
        parts_of(text)


def test_a_reason_by_hand():
    text = reason("too_few_pitches", least=4, got=2)
    assert text == "too_few_pitches;least=4;got=2"
    assert parts_of(text) == ("too_few_pitches", {"least": 4, "got": 2})
    assert parts_of("no_wind_meter") == ("no_wind_meter", {})


@pytest.mark.parametrize(
    ("value", "text", "read"),
    [(0.8, "0.8", 0.8), (2.0, "2", 2), (-3, "-3", -3), (1 / 3, "0.333333", 0.333333),
     (1234567.0, "1.23457e+06", 1_234_570.0), (1e-7, "1e-07", 1e-7)],
)  # fmt: skip
def test_numbers_have_six_digits_and_integers_stay_integers(value, text, read):
    assert reason("far_off", by=value) == f"far_off;by={text}"
    _, numbers = parts_of(f"far_off;by={text}")
    assert numbers == {"by": read}
    assert isinstance(numbers["by"], type(read))


@given(CODES, st.dictionaries(NAMES, NUMBERS, max_size=4))
def test_code_names_and_numbers_come_back(code, values):
    read_code, read_values = parts_of(reason(code, **values))
    assert read_code == code
    assert list(read_values) == list(values)
    assert read_values == pytest.approx(values, rel=5e-6)


@given(CODES, st.dictionaries(NAMES, NUMBERS, max_size=4))
def test_names_and_numbers_read_as_those_of_an_address(code, values):
    """Another reader of name=value pairs finds the same."""
    _, _, named = reason(code, **values).partition(";")
    theirs = parse_qsl(named.replace("+", "%2B"), separator=";")
    _, ours = parts_of(reason(code, **values))
    assert {name: float(value) for name, value in theirs} == ours


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan])
def test_numbers_that_are_not_finite_can_be_read_back(value):
    _, numbers = parts_of(reason("instruments_apart", ratio=value))
    assert numbers["ratio"] == pytest.approx(value, nan_ok=True)
