"""The method page is correct: its examples run, and its plots are drawn from its numbers."""

import doctest
from pathlib import Path

import pytest

from tests.bench.method_plots import FOLDER, PLOTS

METHOD = Path(__file__).parents[2] / "analysis" / "METHOD.md"


def test_every_example_runs():
    result = doctest.testfile(str(METHOD), module_relative=False)
    assert result.attempted > 25
    assert result.failed == 0


@pytest.mark.parametrize("name", PLOTS)
def test_the_plot_is_drawn_from_the_numbers(name):
    assert (FOLDER / name).read_text(encoding="utf-8") == PLOTS[name]()
    assert f"](plots/{name})" in METHOD.read_text(encoding="utf-8")


def test_plots_have_a_text_alternative():
    for name in PLOTS:
        text = (FOLDER / name).read_text(encoding="utf-8")
        assert "<title>" in text
        assert "<desc>" in text
