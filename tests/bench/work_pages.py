"""Measure all printed pages of a season of 24 teams with plots against default plotting calls."""

import io
import re
import time
from collections.abc import Iterator
from typing import Any

import matplotlib

from tests.bench.columns import BUILDS
from tests.bench.filled import SEASON, public_id
from tests.bench.serving import Client, copied, ours
from tests.bench.timing import Row

TEAMS, POINTS = 24, 20
matplotlib.use("svg")


def rows(scale: str) -> Iterator[Row]:
    """Yield all pages, each requested for the first time, against the same number of plots."""
    with ours(copied("club")) as (service, key):
        client = Client(service.url, key)
        client.ask("POST", "/v1/imports", {"trials": list(sweeps())})
        taken, plots = _pages(client)
    yield Row(f"{TEAMS + 1} report pages with {plots} plots", taken, "matplotlib, the plots alone",
              _drawn(plots), 10, at_least=True)  # fmt: skip


def sweeps() -> Iterator[dict[str, Any]]:
    """Yield a pitch, a load and a wind sweep of each team's newest build."""
    for team in range(TEAMS):
        about = {"session_id": public_id("ses", team // 5 * 20 + 19), "load_connected": True,
                 "build_id": public_id("bld", team * BUILDS + BUILDS - 1)}  # fmt: skip
        for pitch in (6, 9, 12, 15, 18):
            volts = 1.3 - 0.003 * (pitch - 12) ** 2
            yield _trial(about, f"p{team}-{pitch}", volts, kind="pitch", pitch_deg=pitch)
        for ohms in (10.0, 20.0, 30.1, 47.0, 68.0):
            volts = 2.4 * ohms / (ohms + 28)
            yield _trial(about, f"l{team}-{ohms}", volts, kind="load", load_ohm=ohms, pitch_deg=12)
        for wind in (3.2, 3.7, 4.2, 4.7):
            volts = 1.2 * (wind / 4) ** 1.3
            yield _trial(about, f"w{team}-{wind}", volts, kind="wind", wind_speed_m_s=wind)


def _trial(about: dict[str, Any], ref: str, volts: float, **facts: Any) -> dict[str, Any]:
    runs = [{"voltage_v": round(volts + at / 500, 3)} for at in range(3)]
    return about | {"client_ref": ref, "load_ohm": 30.1, "runs": runs} | facts


def _pages(client: Client) -> tuple[float, int]:
    """Return the seconds until every page was read, and how many plots they have."""
    paths = [f"/v1/teams/{public_id('team', team)}/report" for team in range(TEAMS)]
    started, plots = time.perf_counter(), 0
    for path in [f"/v1/seasons/{SEASON}/report", *paths]:
        plots += len(re.findall(b"<svg", client.ask("GET", f"{path}?format=html")))
    return time.perf_counter() - started, plots


def _drawn(plots: int) -> float:
    """Return the seconds that as many plots take by the usual call, and nothing but they."""
    from matplotlib import pyplot

    started = time.perf_counter()
    for _ in range(plots):
        figure, axes = pyplot.subplots()
        axes.errorbar(range(POINTS), range(POINTS), yerr=1.0, fmt="o", label="sessions")
        axes.plot(range(POINTS), range(POINTS))
        axes.set(xlabel="week", ylabel="power [mW]")
        axes.legend()
        figure.savefig(io.BytesIO(), format="svg")
        pyplot.close(figure)
    return time.perf_counter() - started
