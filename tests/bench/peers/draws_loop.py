"""Draw an event in a plain loop, one draw and one team at a time, with the same results."""

import math
import random
import statistics

import numpy as np

from analysis.event.forecast import Entrants, Event


def draw_forecast(entrants: Entrants, event: Event, *, draws: int) -> dict[str, list]:
    """Return each entrant's median, 80 % range and chances, and the chance of each pair."""
    random.seed(1)
    gauss, count = random.gauss, entrants.ln_power.size
    lower = np.linalg.cholesky(entrants.covariance).tolist()
    means, exponents = entrants.ln_power.tolist(), entrants.wind_exponent.tolist()
    u_exponents, lost = entrants.u_wind_exponent.tolist(), entrants.not_finishing.tolist()
    powers: list[list[float]] = [[] for _ in range(count)]
    first, three, half = [0] * count, [0] * count, [0] * count
    ahead = [[0] * count for _ in range(count)]
    ln_wind = math.log(event.wind_speed_m_s / event.reference_wind_speed_m_s)
    for _ in range(draws):
        wind, bench = gauss(ln_wind, event.u_wind), gauss(0.0, event.u_bench)
        z = [gauss(0.0, 1.0) for _ in range(count)]
        standing = []
        for team in range(count):
            power = means[team] + sum(lower[team][at] * z[at] for at in range(team + 1))
            power += gauss(exponents[team], u_exponents[team]) * wind + bench
            power += gauss(0.0, event.interaction)
            power += max(gauss(0.0, event.execution) for _ in range(event.best_of))
            if random.random() < lost[team]:
                power = -1e3 + random.random()
            else:
                powers[team].append(power)
            standing.append((power, team))
        standing.sort(reverse=True)
        for place, (_, team) in enumerate(standing):
            first[team] += place == 0
            three[team] += place < 3
            half[team] += place < math.ceil(count / 2)
            for _, behind in standing[place + 1 :]:
                ahead[team][behind] += 1
    tenths = [statistics.quantiles(each, n=10) for each in powers]
    return {
        "median_w": [math.exp(each[4]) for each in tenths],
        "range_w": [(math.exp(each[0]), math.exp(each[8])) for each in tenths],
        "first": [each / draws for each in first],
        "top_three": [each / draws for each in three],
        "top_half": [each / draws for each in half],
        "ahead": [[each / draws for each in row] for row in ahead],
    }
