"""An event drawn in a plain loop, a draw and a team at a time."""

import random

import numpy as np


def foresee(ln_power, covariance, exponent, u_exponent, not_finishing, *, draws):
    """Return each entrant's share of draws in which it comes first."""
    random.seed(1)
    lower = np.linalg.cholesky(covariance).tolist()
    count = len(ln_power)
    first = [0] * count
    for _ in range(draws):
        wind, bench = random.gauss(0.0, 0.03), random.gauss(0.0, 0.10)
        z = [random.gauss(0.0, 1.0) for _ in range(count)]
        best, at = -1e9, -1
        for team in range(count):
            if random.random() < not_finishing[team]:
                continue
            theta = ln_power[team] + sum(lower[team][i] * z[i] for i in range(team + 1))
            n = random.gauss(exponent[team], u_exponent[team])
            power = theta + random.gauss(0.0, 0.06) + n * wind + bench + random.gauss(0.0, 0.05)
            if power > best:
                best, at = power, team
        if at >= 0:
            first[at] += 1
    return [each / draws for each in first]
