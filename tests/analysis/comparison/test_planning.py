"""A planned step compared with a new fit of the season that contains the step."""

import math

import numpy as np
import pytest

from analysis.comparison.design import Spread
from analysis.comparison.fit import fit_season
from analysis.comparison.planning import Step, plan_steps

U_TRIAL = math.sqrt(0.04**2 / 3 + 0.02**2)
ROWS = [
    ("a", "x", "1", "s1"), ("b", "y", "1", "s1"), ("a", "x", "1", "s2"), ("ref", "", "1", "s2"),
    ("c", "z", "2", "s3"), ("d", "w", "2", "s3"), ("c", "z", "2", "s4"),
    ("e", "v", "3", "s5"), ("ref", "", "3", "s5"),
]  # fmt: skip
CURRENT = ["a", "b", "c", "d", "e"]
SPREAD = Spread()


def fit(*more):
    """Fit the season with more trials, each just as the season would have it."""
    rows = [*ROWS, *more]
    build, team, bench, session = zip(*rows, strict=True)
    return fit_season(
        {"build_id": build, "team_id": team, "bench_id": bench, "session_id": session,
         "log_power": np.zeros(len(rows)), "u_own": np.full(len(rows), U_TRIAL)},
        spread=SPREAD,
    )  # fmt: skip


def uncertainty(fitted):
    pairs = [(a, b) for at, a in enumerate(CURRENT) for b in CURRENT[at + 1 :]]
    return math.sqrt(np.mean([fitted.u_difference(a, b) ** 2 for a, b in pairs]))


@pytest.mark.parametrize(
    ("step", "rows"),
    [
        (Step("reference", "2", ("ref",)), [("ref", "", "2", "new")]),
        (Step("reference", "3", ("ref",)), [("ref", "", "3", "new")]),  # a pairing that is known
        (Step("visit", "1", ("c",)), [("c", "z", "1", "new")]),
        (Step("visit_day", "1", ("a", "c", "e")),
         [("a", "x", "1", "new"), ("c", "z", "1", "new"), ("e", "v", "1", "new")]),
    ],
)  # fmt: skip
def test_the_uncertainty_after_it_is_that_of_the_season_with_it(step, rows):
    (planned,) = plan_steps(fit(), CURRENT, [step], most=1)
    assert planned.uncertainty_before == pytest.approx(uncertainty(fit()), rel=1e-6)
    assert planned.uncertainty_after == pytest.approx(uncertainty(fit(*rows)), rel=1e-6)


def test_the_unjoined_bench_comes_first():
    steps = [Step("reference", bench, ("ref",)) for bench in ("1", "2", "3")]
    planned = plan_steps(fit(), CURRENT, steps, most=3)
    assert planned[0].step.bench_id == "2"
    uncertainties = [planned[0].uncertainty_before, *(each.uncertainty_after for each in planned)]
    assert uncertainties == sorted(uncertainties, reverse=True)


def test_each_step_begins_where_the_last_one_ended():
    steps = [Step("reference", bench, ("ref",)) for bench in ("1", "2")]
    first, second = plan_steps(fit(), CURRENT, steps, most=2)
    assert second.uncertainty_before == first.uncertainty_after
    both = uncertainty(fit(("ref", "", "2", "n1"), ("ref", "", "1", "n2")))
    assert second.uncertainty_after == pytest.approx(both, rel=1e-6)


def test_one_build_has_no_pairs():
    assert plan_steps(fit(), ["a"], [Step("visit", "2", ("a",))], most=1) == []
