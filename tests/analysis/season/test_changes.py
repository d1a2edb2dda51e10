"""The effect that a test of a change can detect: in one session, or weeks apart."""

import math
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.season.changes import Pairing, effect_of_change, trial_uncertainty
from analysis.season.estimates import Figure
from analysis.trials.results import PowerResults

ONE_TRIAL = 0.04 / math.sqrt(3)  # three runs of 4 %


def figure(power_w, u_own=0.02, u_bench=0.14, bench_id="bench"):
    return Figure("", power_w, power_w, u_own, u_bench, 0.15, (0.0, 1.0), 1, 1, bench_id)


def pairing(*rows):
    """Return trials; a row is session, whether the new build, power."""
    return Pairing(
        ln_power=np.log([power for _, _, power in rows]),
        u_trial=np.full(len(rows), ONE_TRIAL),
        session_id=np.array([session for session, _, _ in rows]),
        is_new=np.array([is_new for _, is_new, _ in rows]),
    )


APART = pairing(("s", False, 0.05), ("t", True, 0.055))


class TestDifferentSessions:
    def test_detectable_change_by_hand(self):
        """z(0.95) + z(0.80) = 1.6449 + 0.8416; times √2 · 0.02 makes 0.07033, or 7.29 %."""
        effect = effect_of_change(figure(0.055), figure(0.05), APART)
        assert effect.design == "different_sessions"
        assert effect.effect_pct == pytest.approx(10.0)
        assert effect.detectable_pct == pytest.approx(7.29, abs=0.01)

    def test_five_per_cent_a_session(self):
        """√(2 (0.05² + 0.04²/3)) = 0.0779: 21 % is the least that shows."""
        u = math.hypot(0.05, ONE_TRIAL)
        effect = effect_of_change(figure(0.055, u), figure(0.05, u), APART)
        assert effect.detectable_pct == pytest.approx(21.4, abs=0.1)

    def test_a_season_whose_sessions_scatter_more_shows_less(self):
        """√(2 · 0.02² + 2 (0.08² - 0.03²)) = 0.1085; times 2.4865 makes 0.2697, or 31.0 %."""
        effect = effect_of_change(figure(0.055), figure(0.05), APART, session_sd=0.08)
        assert effect.detectable_pct == pytest.approx(31.0, abs=0.1)
        quiet = effect_of_change(figure(0.055), figure(0.05), APART, session_sd=0.01)
        assert quiet.detectable_pct == pytest.approx(7.29, abs=0.01)

    def test_another_bench_brings_its_own_doubt(self):
        """√(2 · 0.02² + 2 · 0.14²) = 0.2; times 2.4865 makes 0.4973, or 64.4 %."""
        effect = effect_of_change(figure(0.055), figure(0.05, bench_id="other"), APART)
        assert effect.detectable_pct == pytest.approx(64.4, abs=0.1)
        low, high = effect.interval_pct
        assert low < 0 < high


class TestBackToBack:
    """Worked by hand: sd 0.04 √(1/3 + 1/6) = 0.02828 and 0.04 √(2/3) = 0.03266."""

    def test_old_new_old(self):
        effect = effect_of_change(
            figure(0.055), figure(0.05),
            pairing(("s", False, 0.050), ("s", True, 0.056), ("s", False, 0.050)),
        )  # fmt: skip
        assert (effect.design, effect.trials, effect.sessions) == ("old_new_old", 3, 1)
        assert effect.effect_pct == pytest.approx(12.0)
        assert effect.detectable_pct == pytest.approx(7.3, abs=0.05)
        low, high = effect.interval_pct
        assert low == pytest.approx(100 * math.expm1(math.log(1.12) - 0.05657), abs=0.01)
        assert high == pytest.approx(100 * math.expm1(math.log(1.12) + 0.05657), abs=0.01)

    def test_old_then_new(self):
        effect = effect_of_change(
            figure(0.055), figure(0.05), pairing(("s", False, 0.050), ("s", True, 0.056))
        )
        assert effect.design == "same_session"
        assert effect.detectable_pct == pytest.approx(8.5, abs=0.05)

    @given(st.floats(-0.2, 0.2))
    def test_a_steady_drift_drops_out_of_old_new_old(self, drift):
        rows = [("s", k == 1, 0.05 * math.exp(drift * k)) for k in range(3)]
        effect = effect_of_change(figure(0.055), figure(0.05), pairing(*rows))
        assert effect.effect_pct == pytest.approx(0.0, abs=1e-9)

    def test_separate_sessions_do_not_count_if_one_has_both_builds(self):
        both_only = pairing(("s", False, 0.050), ("s", True, 0.056))
        more = pairing(
            ("s", False, 0.050), ("s", True, 0.056), ("t", False, 0.03), ("u", True, 0.09)
        )
        assert effect_of_change(figure(0.09), figure(0.03), more) == effect_of_change(
            figure(0.06), figure(0.05), both_only
        )

    def test_two_sessions_are_weighted_by_their_inverse_variances(self):
        """One pair and three pairs: weights 1 and 3, and a variance of a quarter."""
        few = [("s", False, 0.05), ("s", True, 0.05 * math.exp(0.10))]
        many = [("t", False, 0.05), ("t", True, 0.05 * math.exp(0.20))] * 3
        effect = effect_of_change(figure(0.055), figure(0.05), pairing(*few, *many))
        assert math.log1p(effect.effect_pct / 100) == pytest.approx(0.175)
        assert math.log1p(effect.detectable_pct / 100) == pytest.approx(
            2.48648 * math.sqrt(2) * ONE_TRIAL / 2, rel=1e-4
        )


class TestTrialUncertainty:
    """√(u_repeat² + 0.02²), and 0.012 n more where a session's trials have winds of their own."""

    def u(self, *levers, residual=1.0):
        count = len(levers)
        known = {each.name: np.zeros(count) for each in fields(PowerResults)} | {
            "u_repeat": np.full(count, ONE_TRIAL), "exponent_lever": np.array(levers),
            "wind_exponent": np.full(count, 2.6),
        }  # fmt: skip
        return trial_uncertainty(
            PowerResults(**known), np.array(["s"] * (count - 1) + ["t"]), residual
        )

    def test_one_wind_for_the_session(self):
        assert self.u(0.05, 0.05, 0.1) == pytest.approx([math.hypot(ONE_TRIAL, 0.02)] * 3)

    def test_a_season_that_scatters_more_and_one_that_scatters_less(self):
        plain = math.hypot(ONE_TRIAL, 0.02)
        assert self.u(0.05, 0.05, residual=1.5) == pytest.approx([1.5 * plain] * 2)
        assert self.u(0.05, 0.05, residual=0.5) == pytest.approx([plain] * 2)

    def test_a_wind_for_each_trial(self):
        plain = math.hypot(ONE_TRIAL, 0.02)
        read = math.hypot(plain, 0.012 * 2.6)
        assert self.u(0.05, 0.06, 0.1) == pytest.approx([read, read, plain])
