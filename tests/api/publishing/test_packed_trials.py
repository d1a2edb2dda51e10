"""Packed trials come back as they were: values, types and order."""

from dataclasses import fields

import numpy as np
import pytest

from analysis.trials.results import PowerResults
from api.services.measurements.season_trials import SeasonTrials
from api.services.publishing.packed_trials import packed, unpacked


def with_column(column):
    results = {each.name: np.array([0.1, np.nan, -0.0]) for each in fields(PowerResults)}
    return SeasonTrials({"column": column}, PowerResults(**results))


@pytest.mark.parametrize(
    "column",
    [
        pytest.param(np.array([0.1, np.nan, np.inf]), id="floats"),
        pytest.param(np.array([1, -2, 2**62]), id="integers"),
        pytest.param(np.array([True, False, True]), id="truths"),
        pytest.param(np.array(["bld_1", "é", ""], dtype=object), id="words"),
        pytest.param(np.array(["Ω", "bld_22", ""]), id="words of one width"),
        pytest.param(np.array([None, "a", None], dtype=object), id="some are missing"),
        pytest.param(np.array([1, True, 1.0], dtype=object), id="equal values of several types"),
        pytest.param(np.array([], dtype=object), id="no words"),
        pytest.param(np.array([]), id="no numbers"),
    ],
)
def test_a_column_comes_back(column):
    got = unpacked(packed(with_column(column))).trials["column"]
    assert got.dtype == column.dtype
    assert [(type(each), str(each)) for each in got.tolist()] == [
        (type(each), str(each)) for each in column.tolist()
    ]


def test_results_come_back_bit_by_bit():
    before = with_column(np.zeros(3)).results
    after = unpacked(packed(with_column(np.zeros(3)))).results
    for each in fields(PowerResults):
        assert getattr(after, each.name).tobytes() == getattr(before, each.name).tobytes()
