"""The season model compared with exact seasons, textbook designs and a dense solution."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.comparison.fit import Spread, fit_season
from analysis.errors import InvalidInput, TooFewTrials
from tests.support.season_designs import one_bench, travelling, written_out

#: Priors so wide that they say nothing: plain least squares.
FREE = Spread(team=100, build=100, bench=100, session=1e-4, interaction=1e-4, mean=1000)


def season(*trials, u=0.01):
    """Return a frame of (team, build, bench, session, ln power)."""
    team, build, bench, session, y = zip(*trials, strict=True)
    return pd.DataFrame(
        {"team_id": team, "build_id": build, "bench_id": bench, "session_id": session,
         "log_power": y, "u_own": u}
    )  # fmt: skip


def two_way():
    """Teams on different fans, an incomplete design (check F34, by statsmodels OLS)."""
    cells = {("A", "f1"): 1.0, ("A", "f3"): 1.15, ("B", "f1"): 1.1, ("B", "f2"): 0.9,
             ("C", "f2"): 1.05, ("C", "f3"): 1.4}  # fmt: skip
    return season(*((t, t, fan, f"{t}{fan}", y) for (t, fan), y in cells.items()))


def test_an_incomplete_two_way_design():
    fit = fit_season(two_way(), spread=FREE)
    effects, fans = fit.effects, dict(zip(fit.bench_ids, fit.bench_effect, strict=True))
    assert effects["B"] - effects["A"] == pytest.approx(0.10, abs=1e-3)
    assert effects["C"] - effects["A"] == pytest.approx(0.25, abs=1e-3)
    assert fans["f2"] - fans["f1"] == pytest.approx(-0.2, abs=1e-3)
    assert fans["f3"] - fans["f1"] == pytest.approx(0.15, abs=1e-3)


def test_a_reference_measured_in_two_places_carries_a_value_over():
    # 0.66 × 0.500/0.440 = 0.75 with u 0.01774, computed with uncertainties (check F35)
    trials = season(
        ("", "ref", "A", "a", math.log(0.500)),
        ("", "ref", "B", "b", math.log(0.440)),
        ("t", "team", "B", "b", math.log(0.660)),
    )
    trials["u_own"] = [0.006 / 0.500, 0.006 / 0.440, 0.010 / 0.660]
    trials.loc[len(trials)] = ["u", "anchor", "A", "a", math.log(0.500), 1e-6]
    fit = fit_season(trials, spread=FREE)
    at_a = math.exp(fit.effects["team"] - fit.effects["anchor"]) * 0.500
    assert at_a == pytest.approx(0.75, rel=1e-3)
    assert 0.75 * fit.u_difference("team", "anchor") == pytest.approx(0.017741, rel=2e-2)


def exact_season(benches=6, teams=4, seed=0):
    """An additive season without scatter: known abilities and benches, reference everywhere."""
    draw = np.random.default_rng(seed)
    bench, ability = draw.normal(0, 0.2, benches), draw.normal(-3, 0.3, (benches, teams))
    rows = []
    for i in range(benches):
        rows.append(("", "ref", f"x{i}", f"s{i}", -2.8 + bench[i]))
        rows += [
            (f"t{i}{j}", f"b{i}{j}", f"x{i}", f"s{i}", ability[i, j] + bench[i])
            for j in range(teams)
        ]
    truth = {f"b{i}{j}": ability[i, j] for i in range(benches) for j in range(teams)}
    return rows, truth


def test_an_exact_season_comes_back():
    rows, truth = exact_season()
    fit = fit_season(season(*rows), spread=FREE)
    for build, ability in truth.items():
        assert fit.effects[build] - fit.effects["ref"] == pytest.approx(ability + 2.8, abs=2e-3)


def test_agrees_with_the_dense_solution_of_the_same_equations():
    """(XᵀWX + D⁻¹) b = XᵀWy, solved by numpy with the design written out."""
    draw = np.random.default_rng(4)
    rows, _ = exact_season(3, 3)
    frame = season(*[(*row[:4], row[4] + draw.normal(0, 0.02)) for row in rows * 2], u=0.05)
    fit = fit_season(frame)
    terms = [("1", None)]
    terms += [("team_id", each) for each in sorted(set(frame.team_id)) if each]
    for name in ("build_id", "bench_id", "session_id"):
        terms += [(name, each) for each in sorted(set(frame[name]))]
    pair = frame.build_id + "|" + frame.bench_id
    design = [np.ones(len(frame)) if name == "1" else (frame[name] == each).to_numpy(float)
              for name, each in terms]  # fmt: skip
    design += [(pair == each).to_numpy(float) for each in sorted(set(pair))]
    x = np.column_stack(design)
    sd = {"1": 10.0, "team_id": 0.35, "build_id": 0.35, "bench_id": 0.25, "session_id": 0.06}
    prior = [3.0 if each == "ref" else sd[name] for name, each in terms]
    prior += [0.05] * (x.shape[1] - len(terms))
    matrix = x.T @ x / 0.05**2 + np.diag(np.array(prior) ** -2.0)
    solution = np.linalg.solve(matrix, x.T @ frame.log_power.to_numpy() / 0.05**2)
    picks = np.array(
        [[name == "1" or (name, each) == ("build_id", b) or
          (name == "team_id" and each in set(frame.team_id[frame.build_id == b]))
          for name, each in terms] + [False] * (x.shape[1] - len(terms)) for b in fit.build_ids],
        dtype=float,
    )  # fmt: skip
    assert (fit.weights == 1).all()  # no trial was odd, so nothing was reweighted
    assert fit.log_power.tolist() == pytest.approx((picks @ solution).tolist(), abs=1e-9)
    dense = picks @ np.linalg.inv(matrix) @ picks.T
    assert np.allclose(fit.covariance, dense, atol=1e-12)


def test_one_wild_trial_counts_little():
    rows, truth = exact_season()
    wild = [*rows * 3, ("t00", "b00", "x0", "s0", rows[1][4] + 1.5)]
    fit = fit_season(season(*wild, u=0.05))
    plain = fit_season(season(*rows * 3, u=0.05))
    moved = abs(fit.effects["b00"] - plain.effects["b00"])
    assert fit.weights[-1] < 0.3
    assert moved < 0.1
    assert truth["b00"] == pytest.approx(fit.effects["b00"] - fit.effects["ref"] - 2.8, abs=0.2)


class TestGroups:
    def test_a_reference_rotor_joins_benches(self):
        rows, _ = exact_season(3, 2)
        assert fit_season(season(*rows)).groups == [
            ["b00", "b01", "b10", "b11", "b20", "b21", "ref"]
        ]

    def test_without_it_each_bench_is_its_own_group(self):
        rows, _ = exact_season(3, 2)
        own = [row for row in rows if row[0]]
        assert fit_season(season(*own)).groups == [
            ["b00", "b01"], ["b10", "b11"], ["b20", "b21"],
        ]  # fmt: skip

    def test_a_visit_joins_two_benches(self):
        rows, _ = exact_season(2, 2)
        own = [row for row in rows if row[0]]
        visit = ("t00", "b00", "x1", "s1", -3.0)
        assert fit_season(season(*own, visit)).groups == [["b00", "b01", "b10", "b11"]]

    def test_an_old_link_joins_nothing(self):
        rows, _ = exact_season(2, 1)
        ages = [9.0 if row[1] == "ref" and row[2] == "x1" else 1.0 for row in rows]
        assert fit_season(season(*rows), age_weeks=ages).groups == [["b00", "ref"], ["b10"]]

    def test_a_build_does_not_leave_its_own_bench_by_age(self):
        rows, _ = exact_season(2, 1)
        ages = [20.0 if row[1] != "ref" else 1.0 for row in rows]
        assert fit_season(season(*rows), age_weeks=ages).groups == [["b00", "b10", "ref"]]

    def test_an_old_visit_leaves_its_build_at_home(self):
        rows, _ = exact_season(2, 1)
        own = [row for row in rows if row[0]]
        visit = ("t00", "b00", "x1", "s1", -3.0)
        again = [row for row in own if row[1] == "b00"]
        ages = [10.0] * (len(own) + 2)
        assert fit_season(season(*own, *again, visit), age_weeks=ages).groups == [["b00"], ["b10"]]


@given(st.floats(-2, 2))
def test_moving_all_powers_moves_no_difference(shift):
    rows, _ = exact_season(2, 2)
    plain = fit_season(season(*rows))
    moved = fit_season(season(*[(*row[:4], row[4] + shift) for row in rows]))
    one, other = (f.effects["b00"] - f.effects["b11"] for f in (plain, moved))
    assert one == pytest.approx(other, abs=1e-3)


@given(st.permutations(range(10)))
def test_the_order_of_trials_does_not_matter(order):
    rows, _ = exact_season(2, 4)
    straight, mixed = fit_season(season(*rows)), fit_season(season(*(rows[i] for i in order)))
    assert mixed.build_ids == straight.build_ids
    assert mixed.log_power.tolist() == pytest.approx(straight.log_power.tolist(), abs=1e-9)


def test_more_trials_leave_less_doubt():
    rows, _ = exact_season(2, 2)
    few, many = fit_season(season(*rows, u=0.05)), fit_season(season(*rows * 5, u=0.05))
    assert many.u_difference("b00", "b11") < few.u_difference("b00", "b11")


def test_within_a_bench_the_benchs_doubt_drops_out():
    rows, _ = exact_season(2, 2)
    fit = fit_season(season(*rows, u=0.05))
    assert fit.u_difference("b00", "b01") < fit.u_difference("b00", "b11")


def test_invalid_trials_are_refused():
    rows, _ = exact_season(1, 1)
    frame = season(*rows)
    with pytest.raises(TooFewTrials):
        fit_season(frame.iloc[:0])
    for column, value in (("log_power", math.nan), ("u_own", 0.0), ("log_power", math.inf)):
        with pytest.raises(InvalidInput):
            fit_season(frame.assign(**{column: value}))


class TestScatter:
    def travels(self, rng, scatter=0.04, sessions=0.05):
        """Return a season of eight teams at four benches, the reference rotor in each session."""
        rows = []
        for bench in range(4):
            for week in range(8):
                session = rng.normal(0, sessions)
                rows.append(("ref", "", bench, week, -2.8 + session))
                rows += [
                    (f"{bench}{team}-{week // 4}", f"{bench}{team}", bench, week,
                     -3 + 0.2 * team + 0.3 * (week // 4) + session)
                    for team in range(2)
                ]  # fmt: skip
        build, team, bench, week, y = zip(*rows, strict=True)
        return {
            "build_id": list(build), "team_id": list(team), "bench_id": [str(b) for b in bench],
            "session_id": [f"{b}/{w}" for b, w in zip(bench, week, strict=True)],
            "log_power": np.array(y) + rng.normal(0, scatter, len(y)), "u_own": [0.04] * len(y),
        }  # fmt: skip

    def test_forty_trials_at_four_benches_tell_their_own_scatter(self):
        fit = fit_season(self.travels(np.random.default_rng(5)))
        assert fit.is_estimated
        assert fit.spread.session == pytest.approx(0.05, abs=0.02)
        assert fit.check_residuals().verdict == "fine"

    def test_fewer_are_taken_as_assumed(self):
        season = self.travels(np.random.default_rng(5))
        few = {name: column[:24] for name, column in season.items()}
        fit = fit_season(few)
        assert (fit.is_estimated, fit.spread) == (False, Spread())

    def test_a_setting_that_changed_within_builds_is_seen(self):
        """Residuals far wider than stated, with spreads held as assumed."""
        season = self.travels(np.random.default_rng(5), scatter=0.25)
        check = fit_season(season, spread=Spread()).check_residuals()
        assert check.verdict == "too_wide"
        assert check.standard_deviation > 2

    def test_doubts_stated_with_room_to_spare(self):
        season = self.travels(np.random.default_rng(5), scatter=0.005)
        assert fit_season(season, spread=Spread()).check_residuals().verdict == "too_narrow"

    def test_one_trial_cannot_be_judged(self):
        one = {name: column[:1] for name, column in self.travels(np.random.default_rng(5)).items()}
        assert fit_season(one).check_residuals().verdict in ("fine", "too_narrow")


class TestSharedErrors:
    """An exponent that is wrong is wrong in all trials of a team."""

    def two_winds(self, trials, moved):
        """Return two teams at two benches that a rotor joins, the second bench's wind far off."""
        rows = [(f"b{at}", f"t{at}", f"k{at}", f"s{at}") for at in (0, 1) for _ in range(trials)]
        rows += [("ref", "", f"k{at}", f"s{at}") for at in (0, 1) for _ in range(trials)]
        build, team, bench, session = map(np.array, zip(*rows, strict=True))
        return {"build_id": build, "team_id": team, "bench_id": bench, "session_id": session,
                "log_power": np.full(len(rows), -3.0), "u_own": np.full(len(rows), 0.04),
                "u_wind_exponent": np.where(bench == "k1", moved, 0.0)}  # fmt: skip

    def u(self, trials, moved):
        quiet = Spread(interaction=1e-4, session=1e-4)
        return fit_season(self.two_winds(trials, moved), spread=quiet).u_difference("b0", "b1")

    def test_more_trials_do_not_average_it_out(self):
        """Two exponents are wrong at the second bench: the team's own and the rotor's."""
        assert self.u(500, 0.1) == pytest.approx(math.hypot(0.1, 0.1), rel=0.05)
        assert self.u(500, 0.0) < 0.01

    def test_at_the_reference_wind_it_is_nothing(self):
        plain = {name: column for name, column in self.two_winds(3, 0.0).items()
                 if name != "u_wind_exponent"}  # fmt: skip
        without = fit_season(plain, spread=Spread()).u_difference("b0", "b1")
        with_it = fit_season(self.two_winds(3, 0.0), spread=Spread()).u_difference("b0", "b1")
        assert with_it == pytest.approx(without)


class TestUnexpected:
    """Trials that the rest of the season does not expect are left out until somebody looked."""

    def test_a_clean_season_has_none(self):
        assert not fit_season(one_bench()).is_aside.any()

    def test_a_trial_without_its_load_is_left_out_and_moves_nothing(self):
        fit, clean = fit_season(one_bench((7, 1.2))), fit_season(one_bench())
        assert np.flatnonzero(fit.is_aside).tolist() == [7]
        assert fit.predicted_off[7] == pytest.approx(1.2, abs=0.1)
        assert fit.effects["b3"] == pytest.approx(clean.effects["b3"], abs=0.02)

    def test_one_that_somebody_confirmed_counts(self):
        trials = one_bench((7, 1.2))
        trials["is_confirmed"] = np.arange(40) == 7
        assert not fit_season(trials).is_aside.any()

    def test_two_that_contradict_each_other_are_both_left_out(self):
        """Nothing tells which of a build's only two trials is right."""
        trials = one_bench((0, 1.2))
        trials["build_id"] = trials["build_id"].astype("<U8")
        trials["build_id"][[0, 1]], trials["team_id"] = "new", trials["team_id"].astype("<U8")
        trials["team_id"][[0, 1]] = "new"
        fit = fit_season(trials)
        assert np.flatnonzero(fit.is_aside).tolist() == [0, 1]
        assert fit.contradictory == {"new"}
        assert ["new"] in fit.groups


@pytest.mark.parametrize("seed", range(3))
def test_uncertainties_of_benches_by_the_design_written_out(seed):
    """The posterior covariance is (X' W X + D⁻¹)⁻¹; a bench is judged less the mean of all."""
    draw, spread = np.random.default_rng(seed), Spread()
    trials = travelling(draw)
    count = len(trials["build_id"])
    trials |= {"log_power": draw.normal(-3, 0.02, count), "u_own": draw.uniform(0.02, 0.05, count)}
    fit = fit_season(trials, spread=spread)
    weight = np.where(fit.is_aside, 0.0, fit.weights) / trials["u_own"] ** 2
    x, variance, names = written_out(trials, spread)
    inverse = np.linalg.inv(x.T @ np.diag(weight) @ x + np.diag(1 / variance))
    place = {name: at for at, name in enumerate(names)}
    benches = inverse[np.ix_(*[[place["bench", each] for each in fit.bench_ids]] * 2)]
    apart = np.eye(len(benches)) - 1 / len(benches)
    expected = np.sqrt(np.diag(apart @ benches @ apart.T))
    assert fit.bench_u_from_mean() == pytest.approx(expected)
    assert np.all(fit.bench_u_from_mean() < fit.bench_u)
    rotor, (bench, *_) = "b101", fit.bench_ids
    terms = [("mean", ""), ("build", rotor), ("bench", bench), ("interaction", rotor + bench)]
    row = np.zeros(len(names))
    row[[place[term] for term in terms if term in place]] = 1
    (u,) = fit.u_of_readings(rotor, [bench])
    assert u == pytest.approx(np.sqrt(row @ inverse @ row))
