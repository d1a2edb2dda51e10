"""How often a pitch sweep's interval holds the best pitch, and its span what is just as good."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from analysis.errors import AnalysisError
from analysis.pitch import PLATEAU, find_optimum

Shape = Callable[[np.ndarray, float], np.ndarray]


def cliff(pitch_deg: np.ndarray, best_deg: float) -> np.ndarray:
    """Return ln power that falls steeply below the best pitch and gently above it."""
    x = np.maximum(pitch_deg, 0.5) / best_deg
    return np.where(x < 1, 6.0, 2.0) * (np.log(x) + 1 - x)


def even(pitch_deg: np.ndarray, best_deg: float) -> np.ndarray:
    """Return ln power that falls alike on both sides."""
    return -(((pitch_deg - best_deg) / 9.0) ** 2)


def stalled(pitch_deg: np.ndarray, best_deg: float) -> np.ndarray:
    """Return ln power that breaks down a few degrees below the best pitch."""
    below = np.minimum(pitch_deg - best_deg + 2.5, 0.0)
    return -(((pitch_deg - best_deg) / 12.0) ** 2) - 0.12 * below**2


def flat(pitch_deg: np.ndarray, best_deg: float) -> np.ndarray:
    """Return ln power with a broad top and steep ends."""
    return -(((pitch_deg - best_deg) / 8.0) ** 4)


SHAPES: dict[str, Shape] = {"cliff": cliff, "even": even, "stalled": stalled, "flat": flat}


@dataclass
class SweepScore:
    """What many sweeps of one shape showed."""

    found: int = 0
    sought: int = 0
    within: int = 0
    fieller: int = 0
    just_as_good: int = 0
    widths: list[float] = field(default_factory=list)
    spans: list[float] = field(default_factory=list)

    def row(self) -> dict[str, str]:
        """Return the figures of one row of the table."""
        found = max(1, self.found)
        return {
            "peaks": f"{self.found} of {self.sought}",
            "95 % holds": f"{self.within / found:.3f}",
            "90 % holds": f"{self.fieller / found:.3f}",
            "span within 3 %": f"{self.just_as_good / found:.3f}",
            "width": f"{np.median(self.widths):.1f}°",
            "span": f"{np.median(self.spans):.1f}°",
        }


def score(shape: Shape, seeds: int, noise: float = 0.03) -> SweepScore:
    """Return how drawn sweeps of a shape did: five or six pitches, two or three trials each."""
    draw, scores = np.random.default_rng(7), SweepScore()
    for _ in range(seeds):
        best = draw.uniform(8, 18)
        step, count = draw.uniform(2.0, 3.5), int(draw.integers(5, 7))
        first = best - step * (count - 1) / 2 + draw.uniform(-1, 1) * step
        pitches = np.maximum(first + step * np.arange(count), 1.0).round(1)
        sweep = np.repeat(pitches, int(draw.integers(2, 4)))
        power = 0.05 * np.exp(shape(sweep, best) + draw.normal(0, noise, len(sweep)))
        scores.sought += 1
        try:
            found = find_optimum(sweep, power)
        except AnalysisError:
            continue
        scores.found += 1
        scores.within += found.interval_deg[0] <= best <= found.interval_deg[1]
        scores.widths.append(found.interval_deg[1] - found.interval_deg[0])
        scores.spans.append(found.plateau_deg[1] - found.plateau_deg[0])
        limits = found.fieller_deg
        scores.fieller += limits is None or limits[0] <= best <= limits[1]
        ends = np.array(found.plateau_deg)
        scores.just_as_good += bool(np.all(shape(ends, best) >= math.log(PLATEAU) - 1e-9))
    return scores
