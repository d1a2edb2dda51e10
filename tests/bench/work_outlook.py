"""Measure the forecast of an event: thirty teams, twenty thousand draws."""

from collections.abc import Iterator

import numpy as np

from analysis.event.forecast import Entrants, Event, draw_forecast
from tests.bench.peers import draws_loop
from tests.bench.timing import Row, interleaved

TEAMS, DRAWS, MOST_S = 30, 20_000, 0.150


def rows(scale: str) -> Iterator[Row]:
    """Yield ours against a plain loop, which draws a tenth as often, and against the clock."""
    rng = np.random.default_rng(3)
    spread = rng.normal(0.0, 0.05, (TEAMS, TEAMS))
    covariance = spread @ spread.T / TEAMS + 0.04**2 * np.eye(TEAMS)
    entrants = Entrants(rng.normal(-3.0, 0.3, TEAMS), covariance, np.full(TEAMS, 2.6),
                        np.full(TEAMS, 0.4), np.full(TEAMS, 0.03))  # fmt: skip
    taken = interleaved({
        "ours": lambda: draw_forecast(entrants, Event(), seed=1, draws=DRAWS),
        "loop": lambda: draws_loop.draw_forecast(entrants, Event(), draws=DRAWS // 10),
    })  # fmt: skip
    work = f"outlook, {TEAMS} teams, {DRAWS:,} draws"
    yield Row(work, taken["ours"], "plain loop", 10 * taken["loop"], 50, at_least=True)
    yield Row(work, taken["ours"], "150 ms", MOST_S, 1.0)
