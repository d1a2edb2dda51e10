"""The forecast compared with the closed form of two normal numbers, and by laws."""

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.errors import InvalidInput, TooFewTrials
from analysis.event import forecast as forecast_module
from analysis.event.forecast import FULL_FIELD, Entrants, Event, draw_forecast, score_forecast
from analysis.trend import expected_maximum

NORMAL = NormalDist()


def entrants(*power_w, u=0.03, shared=0.0, exponent=2.6, u_exponent=0.0, not_finishing=0.0):
    count = len(power_w)
    return Entrants(
        ln_power=np.log(power_w),
        covariance=u**2 * np.eye(count) + shared**2,
        wind_exponent=np.full(count, exponent),
        u_wind_exponent=np.full(count, u_exponent),
        not_finishing=np.full(count, not_finishing),
    )


class TestRefused:
    def test_a_forecast_needs_an_entrant(self):
        with pytest.raises(TooFewTrials, match="needs an entrant"):
            draw_forecast(entrants(), Event(), seed=1)

    def test_a_power_that_is_not_known(self):
        with pytest.raises(InvalidInput, match="finite"):
            draw_forecast(entrants(0.05, math.nan), Event(), seed=1)

    def test_a_review_of_others(self):
        with pytest.raises(InvalidInput, match="one power per entrant"):
            score_forecast(draw_forecast(entrants(0.05), Event(), seed=1), [0.05, 0.06])

    def test_a_review_where_nobody_finished(self):
        with pytest.raises(TooFewTrials, match="nobody_finished"):
            score_forecast(draw_forecast(entrants(0.05, 0.06), Event(), seed=1), [math.nan, 0.0])


class TestClosedForm:
    """20,000 draws: a share is sure to 0.0035 (one standard deviation), a quantile to about 1 %."""

    @pytest.mark.parametrize("ratio", [1.0, 1.1, 1.3])
    def test_two_entrants(self, ratio):
        """P(ahead) = Φ(ln ratio / √(2 (0.03² + 0.05² + 0.06²))); JCGM 101 against JCGM 100."""
        forecast = draw_forecast(entrants(0.05 * ratio, 0.05, shared=0.1), Event(), seed=3)
        u = math.sqrt(2 * (0.03**2 + 0.05**2 + 0.06**2))
        expected = NORMAL.cdf(math.log(ratio) / u)
        assert forecast.ahead[0, 1] == pytest.approx(expected, abs=0.012)
        assert forecast.first[0] == pytest.approx(forecast.ahead[0, 1])

    def test_the_range(self):
        """sd² = 0.03² + 0.05² + 0.06² + 0.125² + (2.6 · 0.04)² + (ln(4.6/4) · 0.3)²."""
        about = Event(wind_speed_m_s=4.6)
        forecast = draw_forecast(entrants(0.05, u_exponent=0.3), about, seed=3)
        ln_wind = math.log(4.6 / 4)
        sd = math.sqrt(
            0.03**2 + 0.05**2 + 0.06**2 + 0.125**2 + (2.6 * 0.04) ** 2
            + (ln_wind * 0.3) ** 2 + (0.3 * 0.04) ** 2
        )  # fmt: skip
        median = 0.05 * 1.15**2.6
        assert forecast.median_w[0] == pytest.approx(median, rel=0.01)
        assert forecast.low_w[0] == pytest.approx(median * math.exp(-1.2816 * sd), rel=0.015)
        assert forecast.high_w[0] == pytest.approx(median * math.exp(1.2816 * sd), rel=0.015)

    @pytest.mark.parametrize("runs", [2, 3])
    def test_the_best_of_several_runs(self, runs):
        """The mean of the best is c_k standard deviations of one run higher (table in trend)."""
        quiet = {"u_wind": 1e-6, "u_bench": 1e-6, "interaction": 1e-6}
        forecast = draw_forecast(entrants(0.05, u=1e-6), Event(best_of=runs, **quiet), seed=3)
        ln_mean = (math.log(forecast.low_w[0]) + math.log(forecast.high_w[0])) / 2
        expected = math.log(0.05) + expected_maximum(runs) * 0.06
        assert ln_mean == pytest.approx(expected, abs=0.006)

    def test_not_finishing_is_being_last(self):
        """Equal but for that: A finishes with 0.6, B surely: P(A ahead) = 0.6/2."""
        both = entrants(0.05, 0.05)
        unsure = Entrants(
            both.ln_power, both.covariance, both.wind_exponent, both.u_wind_exponent,
            np.array([0.4, 0.0]),
        )  # fmt: skip
        forecast = draw_forecast(unsure, Event(), seed=3)
        assert forecast.ahead[0, 1] == pytest.approx(0.3, abs=0.012)
        assert forecast.median_w[0] == pytest.approx(forecast.median_w[1], rel=0.01)


class TestLaws:
    @settings(max_examples=25)
    @given(st.lists(st.floats(0.005, 0.5), min_size=1, max_size=6), st.integers(0, 99))
    def test_chances_add_up(self, powers, seed):
        forecast = draw_forecast(entrants(*powers), Event(), seed=seed, draws=500)
        assert forecast.first.sum() == pytest.approx(1.0)
        assert forecast.ahead + forecast.ahead.T == pytest.approx(np.ones((len(powers),) * 2))
        assert np.all(forecast.low_w <= forecast.median_w)
        assert np.all(forecast.first <= forecast.top_three)

    @settings(max_examples=25)
    @given(st.floats(0.1, 10))
    def test_another_anchor_moves_watts_and_no_rank(self, factor):
        one = draw_forecast(entrants(0.05, 0.06, 0.055), Event(), seed=7, draws=500)
        other = draw_forecast(entrants(*(factor * p for p in (0.05, 0.06, 0.055))), Event(), seed=7,
                        draws=500)  # fmt: skip
        assert other.median_w == pytest.approx(factor * one.median_w)
        assert other.ahead.tolist() == one.ahead.tolist()

    def test_shared_doubt_widens_ranges_and_moves_no_rank(self):
        one = draw_forecast(entrants(0.05, 0.06), Event(u_bench=0.05), seed=7)
        other = draw_forecast(entrants(0.05, 0.06), Event(u_bench=0.3), seed=7)
        assert other.ahead.tolist() == one.ahead.tolist()
        assert np.all(other.high_w / other.low_w > one.high_w / one.low_w)

    def test_the_same_seed_gives_the_same_answer(self):
        one, other = (draw_forecast(entrants(0.05, 0.06), Event(), seed=7) for _ in range(2))
        assert one.median_w.tolist() == other.median_w.tolist()

    def test_more_own_doubt_makes_every_order_less_sure(self):
        sure = [
            draw_forecast(entrants(0.06, 0.05, u=u), Event(), seed=7).ahead[0, 1]
            for u in (0.02, 0.1, 0.3)
        ]
        assert sure == sorted(sure, reverse=True)


class TestScore:
    def test_by_hand(self):
        """One result at the median, one beyond the range; the pair said with p, and turned."""
        forecast = draw_forecast(entrants(0.06, 0.05), Event(), seed=5)
        result = [float(forecast.median_w[0]), 2.0 * float(forecast.high_w[1])]
        score = score_forecast(forecast, result)
        assert score.coverage == 0.5
        assert score.z[0] == pytest.approx(0.0)
        off = math.log(result[1] / forecast.median_w[1])
        assert score.mean_ln_bias == pytest.approx(off / 2)
        width = math.log(forecast.high_w[1] / forecast.low_w[1]) / 2
        assert score.z[1] == pytest.approx(off / width * 1.2816, rel=1e-4)
        assert score.brier == pytest.approx(forecast.ahead[0, 1] ** 2)

    def test_only_stated_pairs_count(self):
        forecast = draw_forecast(entrants(0.06, 0.05, 0.04), Event(), seed=5)
        score = score_forecast(forecast, [0.06, 0.05, 0.04], stated_pairs=[(0, 2)])
        assert score.brier == pytest.approx((1 - forecast.ahead[0, 2]) ** 2)
        assert score_forecast(forecast, [0.06, 0.05, 0.04], stated_pairs=[]).brier is None

    def test_an_entrant_that_did_not_finish_has_no_z_and_is_last(self):
        forecast = draw_forecast(entrants(0.06, 0.05), Event(), seed=5)
        score = score_forecast(forecast, [math.nan, 0.05])
        assert math.isnan(score.z[0])
        assert score.finished == 1
        assert score.brier == pytest.approx(forecast.ahead[0, 1] ** 2)

    def test_a_forecast_that_knows_itself_covers_four_of_five(self):
        """Results drawn from the forecast's own model: 80 % within, by the binomial ± 3 sd."""
        field = entrants(*np.linspace(0.03, 0.09, 12))
        rng = np.random.default_rng(11)
        inside = finished = 0
        for seed in range(60):
            forecast = draw_forecast(field, Event(), seed=seed, draws=2_000)
            ln_result = (
                rng.normal(field.ln_power, 0.03) + rng.normal(0, 0.05, 12)
                + rng.normal(0, 0.06, 12) + 2.6 * rng.normal(0, 0.04) + rng.normal(0, 0.125)
            )  # fmt: skip
            score = score_forecast(forecast, np.exp(ln_result))
            inside += score.coverage * 12
            finished += score.finished
        # Results of one event share its wind and bench, so sixty events are what counts.
        assert inside / finished == pytest.approx(0.80, abs=3 * math.sqrt(0.16 / 60))


class TestALargeField:
    """With more than 200 entrants only the next ones are compared, and in fewer draws."""

    def field(self, count):
        return entrants(*np.linspace(0.06, 0.03, count), u=0.1)

    def test_each_is_compared_with_the_next_twenty(self):
        forecast = draw_forecast(self.field(FULL_FIELD + 1), Event(), seed=1)
        assert forecast.draws == 5_000
        compared = np.isfinite(forecast.ahead)
        assert compared[0].nonzero()[0].tolist() == list(range(1, 21))
        assert compared[100].sum() == 40
        chances = forecast.ahead[compared] + forecast.ahead.T[compared]
        assert chances == pytest.approx(np.ones(len(chances)))

    def test_places_and_chances_are_those_of_every_pair_compared(self, monkeypatch):
        field = self.field(FULL_FIELD + 1)
        many = draw_forecast(field, Event(), seed=1)
        monkeypatch.setattr(forecast_module, "FULL_FIELD", 1_000)
        every = draw_forecast(field, Event(), seed=1, draws=5_000)
        for name in ("first", "top_three", "top_half", "median_w"):
            assert getattr(many, name).tolist() == getattr(every, name).tolist()
        compared = np.isfinite(many.ahead)
        assert many.ahead[compared] == pytest.approx(every.ahead[compared])
