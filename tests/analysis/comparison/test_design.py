"""The season model's design compared with indicator columns of pandas, and its priors with sums."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.comparison.design import NOWHERE, TERMS, Model, Spread
from tests.support.season_designs import travelling

BENCH_FIRST = ("bench", "team", "build", "session")
SEEDS = st.integers(0, 10_000)
#: All different, so that a mix-up is noticed.
SPREAD = Spread(mean=2.0, team=0.3, build=0.7, bench=0.11, session=0.05, interaction=0.13,
                reference=1.7)  # fmt: skip


def drawn(seed, trials=40):
    """Return trials at three benches, their frame, and the model of them."""
    season = travelling(np.random.default_rng(seed), trials)
    return season, pd.DataFrame(season), Model(season)


def cells_of(frame):
    """Return the different trials, in the order of bench, team, build and session."""
    names = [f"{name}_id" for name in BENCH_FIRST]
    return frame[names].drop_duplicates().sort_values(names, ignore_index=True)


def travellers(frame):
    """Return the builds that were tested at several benches."""
    benches = frame.groupby("build_id")["bench_id"].nunique()
    return set(benches.index[benches > 1])


class TestCells:
    @settings(max_examples=25)
    @given(SEEDS)
    def test_trials_with_the_same_terms_form_one(self, seed):
        _, frame, model = drawn(seed)
        theirs = frame.groupby([f"{name}_id" for name in BENCH_FIRST]).ngroup()
        assert model.cells.codes.tolist() == theirs.tolist()
        assert model.design.shape[0] == len(cells_of(frame)) == theirs.max() + 1


class TestRows:
    @settings(max_examples=25)
    @given(SEEDS)
    def test_each_term_has_the_column_that_pandas_makes_of_its_label(self, seed):
        _, frame, model = drawn(seed)
        cells, design = cells_of(frame), model.design.toarray()
        for name in TERMS:
            indicators = pd.get_dummies(cells[f"{name}_id"], dtype=float)
            if "" in indicators:  # a reference rotor has no team
                indicators[""] = 0.0
                indicators = indicators.sort_index(axis=1)
            assert model.terms[name].labels.tolist() == indicators.columns.tolist()
            assert np.array_equal(design[:, model.position[name]], indicators.to_numpy()), name
        assert design[:, model.local].tolist() == [1.0] * len(cells)  # the mean

    @settings(max_examples=25)
    @given(SEEDS)
    def test_a_build_that_travels_has_a_column_for_each_bench_and_others_have_none(self, seed):
        _, frame, model = drawn(seed)
        cells = cells_of(frame)
        travels = cells["build_id"].isin(travellers(frame))
        pair = (cells["build_id"] + "|" + cells["bench_id"]).where(travels)
        indicators = pd.get_dummies(pair, dtype=float)
        columns = model.design.toarray()[:, model.position["pair"]]
        assert np.array_equal(columns, indicators.to_numpy())
        assert model.is_local(np.arange(model.builds.size)).tolist() == [
            build not in travellers(frame) for build in model.builds.labels
        ]

    @settings(max_examples=25)
    @given(SEEDS)
    def test_every_unknown_has_a_place_of_its_own(self, seed):
        _, _, model = drawn(seed)
        places = np.concatenate([[model.local], *model.position.values()])
        assert sorted(places.tolist()) == list(range(model.size))
        assert model.design.shape[1] == model.size

    @settings(max_examples=25)
    @given(SEEDS)
    def test_local_terms_belong_to_one_bench_and_are_ordered_by_bench(self, seed):
        """No equation contains unknowns of two benches."""
        _, frame, model = drawn(seed)
        starts = [0, *model.ends[:-1]]
        assert model.ends[-1] == model.local
        for name in TERMS:
            by_label = frame[(frame["team_id"] != "") | (name != "team")].groupby(f"{name}_id")
            benches = by_label["bench_id"].agg(["nunique", "first"])
            for label, place in zip(model.terms[name].labels, model.position[name], strict=True):
                is_at_home = label in benches.index and benches.loc[label, "nunique"] == 1
                assert (place < model.local) == is_at_home, label
                if is_at_home:
                    bench = model.terms["bench"].labels.tolist().index(benches.loc[label, "first"])
                    assert starts[bench] <= place < model.ends[bench]
        at_home = model.design[:, : model.local]
        together = (at_home.T @ at_home).toarray() > 0
        block = np.searchsorted(model.ends, np.arange(model.local), side="right")
        assert not together[block[:, None] != block].any()

    def test_rows_have_a_one_in_each_column_and_none_for_nowhere(self):
        _, _, model = drawn(0)
        rows = model.rows(np.array([[0, NOWHERE, 2], [NOWHERE] * 3])).toarray()
        assert np.flatnonzero(rows[0]).tolist() == [0, 2]
        assert rows[0].sum() == 2
        assert not rows[1].any()


class TestBenches:
    @settings(max_examples=25)
    @given(SEEDS)
    def test_cells_of_each_are_the_rows_of_the_design(self, seed):
        _, _, model = drawn(seed)
        design, starts = model.design.toarray(), [0, *model.ends[:-1].tolist()]
        written = np.zeros_like(design)
        for (cells, rows, own), start in zip(model.bench_parts, starts, strict=True):
            assert own.start == start
            for row, (columns, values) in enumerate(
                zip(cells.columns, cells.values, strict=True), rows.start
            ):
                is_there = columns != NOWHERE
                place = np.where(columns >= 0, columns + start, model.local + NOWHERE - 1 - columns)
                written[row, place[is_there]] = values[is_there]
        assert np.array_equal(written, design)

    def test_shared_labels_are_those_of_rotors_and_travellers(self):
        season = {"team_id": ["t", "t", "", "u"], "build_id": ["a", "a", "rotor", "b"],
                  "bench_id": ["1", "2", "2", "2"], "session_id": ["p", "q", "q", "q"]}  # fmt: skip
        model = Model({name: np.array(column) for name, column in season.items()})
        assert model.shared_labels == [["", "t"], ["a"], [], []]


class TestBuilds:
    def test_each_has_the_team_that_tested_it_and_a_reference_rotor_none(self):
        _, frame, model = drawn(3)
        team_of = dict(zip(frame["build_id"], frame["team_id"], strict=True))
        teams = model.terms["team"].labels
        for at, build in enumerate(model.builds.labels):
            assert model.is_reference[at] == (team_of[build] == "")
            team = model.team_of_build[at]
            assert (teams[team] if team != NOWHERE else "") == team_of[build]

    def test_an_untested_pair_of_build_and_bench_has_no_unknown(self):
        season = {"team_id": ["t", "t", "t", "u"], "build_id": ["a", "a", "a", "b"],
                  "bench_id": ["1", "2", "3", "2"], "session_id": ["p", "q", "r", "q"]}  # fmt: skip
        model = Model({name: np.array(column) for name, column in season.items()})
        one, other = np.repeat([0, 1], 3), np.tile([0, 1, 2], 2)
        places = model.pair_at(one, other)
        assert sorted(places[:3].tolist()) == sorted(model.position["pair"].tolist())
        assert places[3:].tolist() == [NOWHERE] * 3

    def test_without_travelling_builds_there_are_no_pairs(self):
        season = {"team_id": ["t", "u"], "build_id": ["a", "b"], "bench_id": ["1", "2"],
                  "session_id": ["p", "q"]}  # fmt: skip
        model = Model({name: np.array(column) for name, column in season.items()})
        assert model.pair_at(np.array([0, 1]), np.array([0, 0])).tolist() == [NOWHERE] * 2
        assert model.position["pair"].size == 0


class TestPriors:
    @settings(max_examples=25)
    @given(SEEDS)
    def test_cells_vary_together_by_the_terms_that_they_share(self, seed):
        """cov = μ² + team² + build² + bench² + session² + interaction², each where it is shared.

        An exponent's error is shared by a team's trials, by as much as it moves each of them.
        Whether what a build has at its bench is an unknown of its own must not show.
        """
        _, frame, model = drawn(seed)
        cells = cells_of(frame)

        def shared(*names):
            keys = cells[list(names)].agg("|".join, axis=1).to_numpy()
            return (keys[:, None] == keys).astype(float)

        own = (cells["team_id"] != "").to_numpy()
        build = np.where(own, SPREAD.build, SPREAD.reference) ** 2
        expected = (
            SPREAD.mean**2
            + SPREAD.team**2 * shared("team_id") * np.outer(own, own)
            + build * shared("build_id")
            + SPREAD.bench**2 * shared("bench_id")
            + SPREAD.session**2 * shared("session_id")
            + SPREAD.interaction**2 * shared("build_id", "bench_id")
        )
        owner = np.where(own, cells["team_id"], cells["build_id"])
        for column in ("u_wind_exponent", "u_density_exponent"):
            moved = frame.groupby([f"{name}_id" for name in BENCH_FIRST])[column].mean().to_numpy()
            expected += np.equal.outer(owner, owner) * np.outer(moved, moved)
        design = model.design.toarray()
        covariance = design @ np.diag(1 / model.precision(SPREAD)) @ design.T
        assert covariance == pytest.approx(expected, rel=1e-9)

    @pytest.mark.parametrize("name", ["mean", "team", "bench", "session"])
    def test_a_wider_spread_changes_only_its_own_terms(self, name):
        _, _, model = drawn(1)
        wide = replace(SPREAD, **{name: 2 * getattr(SPREAD, name)})
        ratio = model.precision(SPREAD) / model.precision(wide)
        places = [model.local] if name == "mean" else model.position[name]
        expected = np.ones(model.size)
        expected[places] = 4
        assert ratio == pytest.approx(expected)

    def test_a_build_varies_less_than_a_reference_rotor(self):
        _, _, model = drawn(1)
        every = np.arange(model.builds.size)
        variance = model.build_variance(every, SPREAD)
        assert variance == pytest.approx(np.where(model.is_reference, 1.7**2, 0.7**2))
        assert model.is_reference.any()
