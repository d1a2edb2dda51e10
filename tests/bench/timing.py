"""Measure works side by side: interleaved, medians, one table of ratios."""

import os
import platform
import sqlite3
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

REPEATS = 5


@dataclass(frozen=True)
class Row:
    """One work and its peer; `at_least` reverses the goal: at least this many times as fast."""

    work: str
    ours: float
    peer: str
    theirs: float
    goal: float | None
    at_least: bool = False
    unit: str = "s"

    @property
    def ratio(self) -> float:
        """Return the ratio of our time to the peer's, or its inverse."""
        return self.theirs / self.ours if self.at_least else self.ours / self.theirs

    @property
    def holds(self) -> bool:
        """Tell whether the goal is met; where none is set, always."""
        if self.goal is None:
            return True
        return self.ratio >= self.goal if self.at_least else self.ratio <= self.goal

    def _in_words(self, value: float) -> str:
        return seconds(value) if self.unit == "s" else f"{value:.4g} {self.unit}".rstrip()

    def cells(self) -> dict[str, str]:
        """Return the cells of a table's row."""
        sign, times = ("≥", " × as fast") if self.at_least else ("≤", " ×")
        return {
            "work": self.work, "ours": self._in_words(self.ours), "peer": self.peer,
            "peer's": self._in_words(self.theirs), "ratio": f"{self.ratio:.2f}",
            "goal": "" if self.goal is None else f"{sign} {self.goal:g}{times}",
            "holds": "" if self.goal is None else "yes" if self.holds else "NO",
        }  # fmt: skip


def seconds(taken: float) -> str:
    """Return a time as people read it.

    >>> seconds(0.00123), seconds(0.25), seconds(12.3)
    ('1.23 ms', '250 ms', '12.3 s')
    """
    return f"{taken:.3g} s" if taken >= 1 else f"{1000 * taken:.3g} ms"


def interleaved(works: dict[str, Callable[[], object]], repeats: int = REPEATS) -> dict[str, float]:
    """Return the median seconds of some works, each done once in every round."""
    taken: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(repeats):
        for name, work in works.items():
            started = time.perf_counter()
            work()
            taken[name].append(time.perf_counter() - started)
    return {name: statistics.median(times) for name, times in taken.items()}


def machine() -> str:
    """Return a description of the machine."""
    body = Path("/proc/cpuinfo").read_text().splitlines()
    model = next((line.split(":")[1].strip() for line in body if "model name" in line), "unknown")
    return (
        f"{model}, {os.cpu_count()} cores, Python {platform.python_version()}, numpy "
        f"{np.__version__}, SQLite {sqlite3.sqlite_version}, load {os.getloadavg()[0]:.1f}"
    )
