"""Groups of comparable builds, by hand and by a second computation."""

import numpy as np
import pytest

from analysis.comparison.connections import LINK_WEEKS, connected_builds
from analysis.numeric.groups import group_by


def connected(*pairs, ages=None):
    """Return the groups of (build, bench) trials."""
    builds, benches = (group_by(np.array(each)) for each in zip(*pairs, strict=True))
    return connected_builds(builds, benches, ages)


def test_builds_of_one_bench_are_one_group():
    assert connected(("a", "1"), ("b", "1")) == ([["a", "b"]], {"1": 0})


def test_a_build_at_two_benches_joins_them():
    assert connected(("a", "1"), ("v", "1"), ("v", "2"), ("b", "2"), ("c", "3")) == (
        [["a", "b", "v"], ["c"]], {"1": 0, "2": 0, "3": 1}
    )  # fmt: skip


@pytest.mark.parametrize(("age", "is_joined"), [(LINK_WEEKS, True), (LINK_WEEKS + 0.1, False)])
def test_a_link_counts_for_eight_weeks(age, is_joined):
    trials = (("v", "1"), ("v", "1"), ("a", "1"), ("v", "2"), ("b", "2"))
    groups, _ = connected(*trials, ages=[1, 1, 1, age, 1])
    assert (len(groups) == 1) is is_joined


def test_a_build_stays_at_its_bench_however_old():
    groups, at = connected(("a", "1"), ("b", "1"), ages=[30.0, 1.0])
    assert (groups, at) == ([["a", "b"]], {"1": 0})


def test_a_bench_that_only_an_old_visit_reached_is_in_no_group():
    trials = (("v", "1"), ("v", "1"), ("v", "2"))
    groups, at = connected(*trials, ages=[1.0, 1.0, 20.0])
    assert (groups, at) == ([["v"]], {"1": 0})


@pytest.mark.parametrize("seed", range(5))
def test_groups_of_drawn_seasons_by_merging_one_pair_after_another(seed):
    """A second computation: each trial merges the sets of its build and its bench."""
    draw = np.random.default_rng(seed)
    pairs = [(f"b{draw.integers(20)}", f"k{draw.integers(12)}") for _ in range(18)]
    sets = {name: {name} for pair in pairs for name in pair}
    for one, other in pairs:
        merged = sets[one] | sets[other]
        sets |= dict.fromkeys(merged, merged)
    expected = {frozenset(name for name in each if name[0] == "b") for each in sets.values()}
    groups, _ = connected(*pairs)
    assert {frozenset(group) for group in groups} == expected
