"""Seasons drawn from physics: true winds, exponents and fans, of which meters show a part.

Nothing here uses what `analysis` assumes: powers follow from each turbine's own exponent and the
wind that truly blew, and are turned into the volts that a meter shows.
"""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.columns import RUN_COLUMNS, TEXT_COLUMNS, TRIAL_COLUMNS
from tests.bench.calibration.scenarios import Scenario

LOAD_OHM, WIND_M_S, DENSITY_KG_M3 = 30.0, 4.0, 1.225
WIND_EXPONENT = 2.6  # [-], what a wind that is read wrong is corrected by
#: What a gross mistake multiplies a trial's volts by: no load connected, another fan setting, mV.
MISTAKES = {"no load": (1.5, 2.2), "fan up": (1.25, 1.6), "fan down": (0.6, 0.8)}


@dataclass(frozen=True)
class Drawn:
    """One drawn season: its columns, and what is true of it."""

    trials: pd.DataFrame
    runs: pd.DataFrame
    #: ln power of each build at the reference wind and air, at a bench like the average one.
    truth: dict[str, float]
    current: list[str]
    #: Of each trial: its true ln power at the reference at its own bench, and its mistake.
    ln_power: np.ndarray
    mistake: np.ndarray
    bench: dict[str, float]
    #: What the error of each bench's wind meter does to its normalised powers, in ln power.
    meter_effect: dict[str, float]
    exponent: dict[str, float]


class Drawing:
    """A season in the making."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.of, self.draw = scenario, np.random.default_rng([seed, 20])
        self.rows: list[dict] = []
        self.runs: list[dict] = []
        self.ln_power: list[float] = []
        self.mistakes: list[str] = []
        self.interactions: dict[tuple[str, str], float] = {}
        draw, benches = self.draw, range(scenario.schools)
        self.bench = {at: draw.normal(0, scenario.bench) for at in benches}
        self.meter = {at: draw.normal(0, scenario.meter) for at in benches}
        self.ln_wind = {at: draw.normal(0, scenario.bench_wind) for at in benches}
        self.altitude_m = {at: draw.uniform(0, 900) for at in benches}
        self.sessions: dict[tuple[int, int], tuple[float, float, float]] = {}
        names = [(at, team) for at in benches for team in range(scenario.teams)]
        self.strength = {name: draw.normal(math.log(0.05), scenario.team) for name in names}
        self.exponent: dict = {name: self._exponent() for name in names}
        self.exponent["rotor"] = self._exponent()
        self.density_exponent = {name: draw.uniform(0.1, 0.9) for name in (*names, "rotor")}
        self.number = dict.fromkeys(names, 1)
        self.truth: dict[str, float] = {"reference": math.log(0.06)}
        self.swept = {name: draw.random() < scenario.swept for name in names}
        self.found = {name: self.exponent[name] + draw.normal(0, scenario.sweep_error)
                      for name in names}  # fmt: skip

    def _exponent(self) -> float:
        kind, one, other = self.of.exponents
        return float(getattr(self.draw, kind)(one, other))

    def _noise(self, deviation: float) -> float:
        if not self.of.tails:
            return float(self.draw.normal(0, deviation))
        tails = self.of.tails
        return float(deviation * self.draw.standard_t(tails) / math.sqrt(tails / (tails - 2)))

    def season(self) -> Drawn:
        """Return the season, week by week."""
        of = self.of
        there = set(np.linspace(0, of.weeks - 1, of.reference_weeks).round().astype(int))
        for week in range(of.weeks):
            for at in range(of.schools):
                if of.reference_weeks and week in there:
                    for _ in range(of.reference_runs):
                        self._trial(at, week, None)
                for team in range(of.teams):
                    self._maybe_rebuild((at, team), week)
                    away = team < of.visitors and week in (of.weeks // 2, of.weeks - 1)
                    for _ in range(of.trials):
                        self._trial((at + 1) % of.schools if away else at, week, (at, team))
        return self._drawn()

    def _maybe_rebuild(self, name: tuple[int, int], week: int) -> None:
        if week and self.draw.random() < self.of.rebuilds:
            self.number[name] += 1
            self.strength[name] += self.draw.normal(self.of.gain, self.of.build)
        self.truth.setdefault(self._build(name), self.strength[name])

    def _build(self, name: tuple[int, int]) -> str:
        return f"t{name[0]}-{name[1]} {self.number[name]}"

    def _session(self, at: int, week: int) -> tuple[float, float, float]:
        """Return the ln wind that truly blows, what else is particular to it, and the density."""
        if (at, week) not in self.sessions:
            ln_wind = self.ln_wind[at] + self._noise(self.of.session_wind)
            celsius = self.draw.normal(20, 2.5)
            hectopascal = 1013.25 * (1 - 2.25577e-5 * self.altitude_m[at]) ** 5.25588
            density = 100 * hectopascal / (287.05 * (celsius + 273.15))
            self.sessions[at, week] = ln_wind, self._noise(self.of.session), density
        return self.sessions[at, week]

    def _interaction(self, build: str, at: int) -> float:
        key = build, str(at)
        if key not in self.interactions:
            self.interactions[key] = self.draw.normal(0, self.of.interaction)
        return self.interactions[key]

    def _trial(self, at: int, week: int, name: tuple[int, int] | None) -> None:
        of, owner = self.of, name or "rotor"
        ln_wind, particular, density = self._session(at, week)
        build = "reference" if name is None else self._build(name)
        drift = of.rotor_drift * week if name is None else 0.0
        ln_there = (self.truth[build] + drift + self.bench[at] + particular
                    + self._interaction(build, at))  # fmt: skip
        ln_power = (ln_there + self.exponent[owner] * ln_wind
                    + self.density_exponent[owner] * math.log(density / DENSITY_KG_M3)
                    + self._noise(of.placement))  # fmt: skip
        mistake = self._mistake()
        low, high = MISTAKES.get(mistake, (1.0, 1.0))
        factor = self.draw.uniform(low, high)
        for _ in range(of.runs):
            volts = math.sqrt(math.exp(ln_power + self._noise(of.run)) * LOAD_OHM) * factor
            self.runs.append({"trial": len(self.rows), "voltage_v": round(volts, 3)})
        read = WIND_M_S * math.exp(ln_wind + self.meter[at])
        team = "" if name is None else f"t{name[0]}-{name[1]}"
        self.rows.append(self._row(at, week, build, team, round(read, 1), owner))
        self.ln_power.append(ln_there)
        self.mistakes.append(mistake)

    def _mistake(self) -> str:
        if self.draw.random() >= self.of.mistakes:
            return ""
        return str(self.draw.choice(list(MISTAKES)))

    def _row(self, at: int, week: int, build: str, team: str, wind_m_s: float, owner) -> dict:
        density = self.sessions[at, week][2]
        celsius = 100 * 1013.25 * (1 - 2.25577e-5 * self.altitude_m[at]) ** 5.25588 / (
            287.05 * density) - 273.15  # fmt: skip
        row = {
            "kind": "record" if team else "reference", "state": "accepted", "team_id": team,
            "build_id": build, "bench_id": f"b{at}", "session_id": f"b{at} w{week}",
            "started_at": week * 604_800.0, "load_ohm": LOAD_OHM, "wind_speed_m_s": wind_m_s,
            "anemometer_type": "vane", "air_temperature_c": celsius,
            "relative_humidity_pct": 0.0, "altitude_m": self.altitude_m[at],
            "rotor_diameter_m": 0.45, "gear_ratio": 1.0,
            "reference_wind_speed_m_s": WIND_M_S, "reference_air_density_kg_m3": DENSITY_KG_M3,
        }  # fmt: skip
        if self.swept.get(owner):
            row |= {"sweep_exponent": self.found[owner],
                    "sweep_standard_error": self.of.sweep_error,
                    "sweep_slowest_m_s": 3.0, "sweep_fastest_m_s": 5.2}  # fmt: skip
        return row

    def _drawn(self) -> Drawn:
        trials = pd.DataFrame(self.rows)
        swept = [name for name in self.swept if self.swept[name]]
        if swept:
            found = np.array([self.found[name] for name in swept])
            trials["season_sweeps"] = float(len(swept))
            trials["season_mean_exponent"] = found.mean()
            trials["season_mean_square_exponent"] = np.mean(found**2)
            trials["season_mean_square_error"] = self.of.sweep_error**2
        missing = [name for name in TRIAL_COLUMNS if name not in trials]
        trials = trials.reindex(columns=[*trials.columns, *missing])
        trials[[name for name in TEXT_COLUMNS if name in missing]] = ""
        return Drawn(
            trials, pd.DataFrame(self.runs).reindex(columns=list(RUN_COLUMNS)), self.truth,
            [self._build(name) for name in self.number], np.array(self.ln_power),
            np.array(self.mistakes), {f"b{at}": each for at, each in self.bench.items()},
            {f"b{at}": -WIND_EXPONENT * each for at, each in self.meter.items()},
            {f"t{name[0]}-{name[1]}": self.exponent[name] for name in self.number},
        )  # fmt: skip


def drawn(scenario: Scenario, seed: int) -> Drawn:
    """Return one season of a scenario."""
    return Drawing(scenario, seed).season()
