"""How often the 80 % range of a forecast holds what an event brings."""

import math

import numpy as np

from analysis.event.forecast import Entrants, Event, draw_forecast
from tests.bench.calibration.comparison import fitted
from tests.bench.calibration.scenarios import Scenario
from tests.bench.calibration.seasons import drawn

EVENTS_A_SEASON = 10


def coverage(of: Scenario, seeds: int) -> float:
    """Return the share of results within their range, over events that follow drawn seasons."""
    inside = []
    for seed in range(seeds):
        season = drawn(of, seed)
        fit, results, _ = fitted(season)
        draw = np.random.default_rng([seed, 21])
        current = [each for each in season.current if each in fit.build_ids]
        truth = np.array([season.truth[each] for each in current])
        exponent = np.array([season.exponent[each.split(" ")[0]] for each in current])
        ids = season.trials["build_id"].to_numpy()
        first = {each: int(np.flatnonzero(ids == each)[0]) for each in current}
        # The rotor's power as assigned: what it truly gives, as far as anybody knows.
        anchor = season.truth["reference"] - fit.effects["reference"]
        entrants = Entrants(
            ln_power=np.array([fit.effects[each] for each in current]) + anchor,
            covariance=fit.covariance_relative_to("reference", current),
            wind_exponent=np.array([results.wind_exponent[first[each]] for each in current]),
            u_wind_exponent=np.array([results.u_wind_exponent[first[each]] for each in current]),
            not_finishing=np.zeros(len(current)),
        )
        for _ in range(EVENTS_A_SEASON):
            event = Event(wind_speed_m_s=float(draw.uniform(3.6, 4.6)))
            forecast = draw_forecast(entrants, event, seed=int(draw.integers(2**31)), draws=1_000)
            ln_wind = math.log(event.wind_speed_m_s / 4) + draw.normal(0, 0.04)
            ln_power = (
                truth + exponent * ln_wind + draw.normal(0, 0.125)
                + draw.normal(0, of.interaction, len(truth)) + draw.normal(0, 0.06, len(truth))
            )  # fmt: skip
            power = np.exp(ln_power)
            inside.append(np.mean((power >= forecast.low_w) & (power <= forecast.high_w)))
    return float(np.mean(inside))
