"""Compare a JSON batch read trial by trial with Python's own reader of the complete text."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.errors import Invalid, Malformed, TooLarge
from api.services.imports import json_trials
from api.services.imports.json_trials import read_items


def items(text, most=100):
    return list(read_items(text.encode(), most))


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "no", '{"trials": [', '{"trials": [}', '{"trials": [1,]}', '{"trials": [,1]}',
        '{"trials": [{} {}]}', '{"trials": []} x', '{"trials": [{"a": 1, "a": 2}]}',
        '{"trials": [NaN]}', '{"trials": ' + "[" * 100_000, '{"trials": [01]}', '{"trials": []}\0',
    ],
)  # fmt: skip
def test_what_cannot_be_read(text):
    with pytest.raises(Malformed):
        items(text)


@pytest.mark.parametrize(
    "text",
    ["[]", "{}", "3", '{"trials": [{}]',
     '{"trials": {}}', '{"trials": [], "x": 1}', '{"x": 1, "trials": []}'],
)  # fmt: skip
def test_what_is_no_batch(text):
    with pytest.raises(Invalid):
        items(text)


def test_more_than_are_taken_at_once():
    assert len(items('{"trials": [1, 2]}', 2)) == 2
    with pytest.raises(TooLarge):
        items('{"trials": [1, 2, 3]}', 2)


def test_one_of_endless_length():
    text = '{"trials": ["' + "x" * (json_trials.LONGEST_TRIAL + 10) + '"]}'
    with pytest.raises(TooLarge):
        items(text)


def test_not_utf_8():
    with pytest.raises(Malformed):
        list(read_items(b'{"trials": ["\xff"]}', 10))


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)  # fmt: skip


@given(st.lists(VALUES, max_size=12), st.integers(20, 60), st.sampled_from([None, 0, 3]))
def test_in_whatever_pieces_it_is_looked_at(values, window, indent):
    """Python's own `json` is the reference; a small window cuts everything somewhere."""
    text = json.dumps({"trials": values}, indent=indent)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(json_trials, "WINDOW", window)
        assert items(text) == json.loads(text)["trials"]
