"""Invent a season: turbines that improve, benches that differ, people who mistype.

Plain Python, and one seed always gives the same season. `make_season.py` writes it as files.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

LOADS_OHM = (4.7, 10.0, 15.0, 22.0, 33.0, 47.0, 68.0)
BLADES = ((2, 0.15), (3, 0.55), (4, 0.20), (6, 0.10))
BUILD_WEEKS = 2


def standard_pressure_hpa(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere (ISO 2533:1975)."""
    return 1013.25 * math.pow(1 - 2.25577e-5 * altitude_m, 5.25588)


def density_kg_m3(temperature_c: float, pressure_hpa: float, humidity_pct: float) -> float:
    """Return the density of moist air as a mixture of two ideal gases."""
    saturated_pa = 611.2 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))
    humid_pa = humidity_pct / 100 * saturated_pa
    kelvin = temperature_c + 273.15
    return (100 * pressure_hpa - humid_pa) / (287.05 * kelvin) + humid_pa / (461.5 * kelvin)


@dataclass
class Build:
    """One state of a team's turbine, and its true power at the reference."""

    number: int
    pitch_deg: float
    load_ohm: float
    ln_power: float


@dataclass
class Team:
    """A team with its turbine."""

    name: str
    school: dict[str, Any]
    generator: dict[str, Any]
    rotor_diameter_m: float
    blade_count: int
    wind_exponent: float
    density_exponent: float
    best_pitch_deg: float
    too_fine: float
    too_coarse: float
    effective_ohm: float
    bench_effect: float
    builds: list[Build] = field(default_factory=list)

    def ln_pitch(self, pitch_deg: float) -> float:
        """Return the change of ln power by a pitch; 0 at the best one, else negative."""
        x = max(pitch_deg, 0.5) / self.best_pitch_deg
        return (self.too_fine if x < 1 else self.too_coarse) * (math.log(x) + 1 - x)

    def ln_load(self, load_ohm: float) -> float:
        """Return the change of ln power by a load; 0 at the matched one, else negative."""
        x = load_ohm / self.effective_ohm
        return math.log(4 * x / (1 + x) ** 2)


@dataclass
class Session:
    """One session at a school's bench."""

    school: dict[str, Any]
    week: int
    started_at: datetime
    ln_wind: float
    density: float
    ln_scatter: float
    cold_fan: bool
    typed: dict[str, Any]


@dataclass
class Trial:
    """One trial: its values as typed, and its true power."""

    typed: dict[str, Any]
    volts: list[float]
    ln_truth: float
    load_ohm: float
    mistakes: list[str] = field(default_factory=list)
    run_mistakes: dict[int, str] = field(default_factory=dict)


class Season:
    """An invented season, drawn with one seed."""

    def __init__(self, parameters: dict[str, Any], seed: int) -> None:
        self.parameters = parameters
        self.seed = seed
        self.draw = random.Random(seed)
        self.count = 0
        self.teams = [
            self._team(school, name)
            for school in parameters["schools"]
            for name in school["teams"][: parameters["teams_per_school"]]
        ]
        rotor = parameters["reference_rotor"]
        self.rotor_effect = {
            school["name"]: self.draw.gauss(0, rotor["bench_interaction"])
            for school in parameters["schools"]
        }
        self.trials: list[tuple[Session, Trial]] = list(self._season())

    # --- turbines ---

    def _team(self, school: dict[str, Any], name: str) -> Team:
        draw = self.draw
        generators = self.parameters["generators"]
        generator = draw.choices(generators, [each["share"] for each in generators])[0]
        exponent = min(4.0, max(2.05, draw.gauss(generator["wind_exponent"], 0.2)))
        team = Team(
            name=name,
            school=school,
            generator=generator,
            rotor_diameter_m=round(draw.uniform(0.38, 0.58), 2),
            blade_count=draw.choices([b for b, _ in BLADES], [s for _, s in BLADES])[0],
            wind_exponent=exponent,
            density_exponent=min(1.0, max(0.0, (exponent - 2.1) / 1.16)),
            best_pitch_deg=min(18.0, max(6.0, draw.gauss(11, 2.5))),
            too_fine=draw.uniform(3.5, 7),
            too_coarse=draw.uniform(2, 3.5),
            effective_ohm=generator["winding_resistance_ohm"]
            * math.exp(abs(draw.gauss(0.25, 0.25))),
            bench_effect=draw.gauss(0, self.parameters["scatter"]["bench_team"]),
        )
        team.builds = list(self._builds(team))
        return team

    def _builds(self, team: Team) -> Iterator[Build]:
        draw = self.draw
        ln_start = math.log(team.generator["start_power_w"]) + draw.gauss(0, 0.30)
        gain, tau = min(1.0, max(0.0, draw.gauss(0.50, 0.25))), draw.uniform(2.5, 6)
        pitch_error = abs(draw.gauss(8, 4)) * (-1 if draw.random() < 0.25 else 1)
        scatter_deg = abs(draw.gauss(3, 1))
        load_error = draw.gauss(0, 1)
        for number, week in enumerate(range(0, self.parameters["weeks"], BUILD_WEEKS), start=1):
            pitch = team.best_pitch_deg + pitch_error * math.exp(-week / 3) + draw.gauss(0, 0.7)
            pitch = max(2.0, round(2 * pitch) / 2)
            wanted = math.log(team.effective_ohm) + load_error * (0.9 * math.exp(-week / 5) + 0.15)
            load = min(LOADS_OHM, key=lambda ohm: abs(math.log(ohm) - wanted))
            scatter = scatter_deg * math.exp(-week / 5)
            cost = 0.5 * team.too_coarse / team.best_pitch_deg**2 * scatter**2
            learned = gain * (1 - math.exp(-week / tau))
            ln_power = ln_start + learned + team.ln_pitch(pitch) + team.ln_load(load) - cost
            yield Build(number, pitch, load, ln_power)

    # --- sessions ---

    def _season(self) -> Iterator[tuple[Session, Trial]]:
        for position, school in enumerate(self.parameters["schools"]):
            drift = 0.0
            for week in range(self.parameters["weeks"]):
                drift += self.draw.gauss(0, self.parameters["reference_rotor"]["drift_per_week"])
                edge = week in (0, self.parameters["weeks"] - 1)
                if not edge and self._happens(self.parameters["attendance"]["school_misses"]):
                    continue
                session = self._session(school, position, week)
                if self._happens(self.parameters["attendance"]["reference_run"]):
                    yield session, self._reference(session, drift)
                for team in (team for team in self.teams if team.school is school):
                    if not self._happens(self.parameters["attendance"]["team_misses"]):
                        for trial in self._visit(session, team):
                            yield session, trial

    def _happens(self, share: float) -> bool:
        return self.draw.random() < share

    def _session(self, school: dict[str, Any], position: int, week: int) -> Session:
        draw, scatter = self.draw, self.parameters["scatter"]
        mistakes = self.parameters["mistakes"]
        monday = date.fromisoformat(self.parameters["first_monday"])
        day = monday + timedelta(weeks=week, days=position % 5)
        started = datetime.combine(day, datetime.min.time()) + timedelta(hours=14, minutes=15)
        ln_wind = school["ln_fan"] + draw.gauss(0, scatter["session_wind"])
        temperature = school["temperature_c"] + draw.gauss(0, scatter["temperature_c"])
        pressure = standard_pressure_hpa(school["altitude_m"]) * math.exp(
            draw.gauss(0, scatter["pressure"])
        )
        humidity = draw.uniform(35, 60)
        is_cold = self._happens(mistakes["cold_fan_of_sessions"])
        typed_pressure: float | None = round(pressure)
        if self._happens(mistakes["no_pressure_of_sessions"]):
            typed_pressure = None
        elif school["altitude_m"] > 200 and self._happens(
            mistakes["sea_level_of_sessions_above_200_m"]
        ):
            typed_pressure = round(1013 * math.exp(draw.gauss(0, 0.007)))
        typed = {
            "organisation": school["name"],
            "bench": bench_name(school),
            "session_started_at": started.strftime("%Y-%m-%d %H:%M"),
            "air_temperature_c": round(temperature, 1),
            "pressure_hpa": typed_pressure,
            "relative_humidity_pct": round(humidity),
            "warm_up_min": 2 if is_cold else draw.choice([5, 6, 8, 10]),
            "adult_present": "yes",
        }
        return Session(
            school=school,
            week=week,
            started_at=started,
            ln_wind=ln_wind,
            density=density_kg_m3(temperature, pressure, humidity),
            ln_scatter=draw.gauss(0, scatter["session"]),
            cold_fan=is_cold,
            typed=typed,
        )

    def _shown_wind(self, session: Session, ln_offset: float = 0.0) -> float:
        """Return the speed that the school's wind meter shows."""
        noise = self.draw.gauss(0, self.parameters["scatter"]["wind_meter"])
        reference = self.parameters["reference_wind_speed_m_s"]
        ln_shown = session.ln_wind + ln_offset + session.school["ln_meter"] + noise
        return round(float(reference) * math.exp(ln_shown), 2)

    # --- trials ---

    def _reference(self, session: Session, drift: float) -> Trial:
        rotor = self.parameters["reference_rotor"]
        ln_truth = math.log(rotor["power_w"]) + drift
        ln_measured = (
            ln_truth
            + rotor["wind_exponent"] * session.ln_wind
            + rotor["density_exponent"] * math.log(session.density / 1.225)
            + session.school["ln_jet"]
            + session.ln_scatter
            + self.rotor_effect[session.school["name"]]
        )
        typed = {
            "turbine": "Reference rotor",
            "build": 1,
            "kind": "reference",
            "pitch_deg": rotor["pitch_deg"],
            "load_ohm": rotor["load_ohm"],
            "rotor_diameter_m": rotor["rotor_diameter_m"],
            "wind_speed_m_s": self._shown_wind(session),
        }
        volts = self._volts(session, ln_measured, rotor["load_ohm"], rotor["wind_exponent"], 3)
        return Trial(self._named(typed, session), volts, ln_truth, rotor["load_ohm"])

    def _visit(self, session: Session, team: Team) -> Iterator[Trial]:
        kinds = self.parameters["kinds"]
        kind = self.draw.choices(list(kinds), list(kinds.values()))[0]
        build = team.builds[session.week // BUILD_WEEKS]
        sweeps = self.parameters["sweeps"]
        for pitch_offset in sweeps["pitch_deg"] if kind == "pitch" else [0]:
            for load in sweeps["load_ohm"] if kind == "load" else [build.load_ohm]:
                for ln_offset in sweeps["ln_wind"] if kind == "wind" else [0.0]:
                    pitch = max(2.0, build.pitch_deg + pitch_offset)
                    yield from self._trial(session, team, build, kind, (pitch, load, ln_offset))

    def _trial(
        self,
        session: Session,
        team: Team,
        build: Build,
        kind: str,
        setting: tuple[float, float, float],
    ) -> Iterator[Trial]:
        pitch, load, ln_offset = setting
        ln_truth = (
            build.ln_power
            + team.ln_pitch(pitch)
            - team.ln_pitch(build.pitch_deg)
            + team.ln_load(load)
            - team.ln_load(build.load_ohm)
        )
        ln_measured = (
            ln_truth
            + team.wind_exponent * (session.ln_wind + ln_offset)
            + team.density_exponent * math.log(session.density / 1.225)
            + session.school["ln_jet"]
            + session.ln_scatter
            + team.bench_effect
        )
        runs = 1 if self._happens(self.parameters["sweeps"]["single_run"]) else 3
        typed = {
            "team": team.name,
            "turbine": f"{team.name} turbine",
            "build": build.number,
            "kind": kind,
            "pitch_deg": pitch,
            "load_ohm": load,
            "rotor_diameter_m": team.rotor_diameter_m,
            "wind_speed_m_s": self._shown_wind(session, ln_offset),
        }
        volts = self._volts(session, ln_measured, load, team.wind_exponent, runs)
        trial = Trial(self._named(typed, session), volts, ln_truth, load)
        self._add_mistakes(trial, team)
        yield trial
        if self._happens(self.parameters["mistakes"]["duplicate"]):
            yield Trial(
                self._named(dict(trial.typed), session), list(trial.volts), ln_truth, load,
                [*trial.mistakes, "duplicate"], dict(trial.run_mistakes),
            )  # fmt: skip

    def _named(self, typed: dict[str, Any], session: Session) -> dict[str, Any]:
        """Return the typed values of a trial, with the coach's own name for it."""
        self.count += 1
        short = "".join(word[0] for word in session.school["name"].split()).lower()
        return typed | {"client_ref": f"{short}-{self.count:04d}", "load_connected": "yes"}

    def _volts(
        self, session: Session, ln_power: float, load: float, exponent: float, runs: int
    ) -> list[float]:
        volts = []
        for run in range(runs):
            noise = self.draw.gauss(0, self.parameters["scatter"]["repeat"])
            cold = 0.05 * exponent * (1 - run / 3) if session.cold_fan else 0.0
            volts.append(displayed(math.sqrt(math.exp(ln_power + noise - cold) * load)))
        return volts

    # --- mistakes ---

    def _add_mistakes(self, trial: Trial, team: Team) -> None:
        """Add typing and measuring mistakes at random."""
        share = self.parameters["mistakes"]
        typed = trial.typed
        for mistake in ("mph", "millivolt", "kiloohm", "open_circuit", "radius", "inch",
                        "wrong_build", "fan_setting", "axis_pitch"):  # fmt: skip
            if self._happens(share[mistake]) and self._mistype(mistake, trial, team):
                trial.mistakes.append(mistake)
        for run, volts in enumerate(trial.volts):
            if self._happens(share["decimal_of_readings"]):
                trial.volts[run] = displayed(volts * self.draw.choice([10, 0.1]))
                trial.run_mistakes[run] = "decimal"
            elif self._happens(share["slip_of_readings"]):
                trial.volts[run] = displayed(volts * self.draw.uniform(0.6, 0.85))
                trial.run_mistakes[run] = "slip"
        typed["rotor_diameter_m"] = float(f"{typed['rotor_diameter_m']:.4g}")

    def _mistype(self, mistake: str, trial: Trial, team: Team) -> bool:
        """Change the typed values; return whether the mistake was possible."""
        typed = trial.typed
        match mistake:
            case "mph":
                typed["wind_speed_m_s"] = round(typed["wind_speed_m_s"] * 2.237, 2)
            case "millivolt":
                trial.volts[:] = [round(volts * 1000, 1) for volts in trial.volts]
            case "kiloohm":
                typed["load_ohm"] = round(typed["load_ohm"] / 1000, 4)
            case "open_circuit":
                factor = (1 + team.effective_ohm / trial.load_ohm) * 1.02
                trial.volts[:] = [displayed(volts * factor) for volts in trial.volts]
            case "radius":
                typed["rotor_diameter_m"] /= 2
            case "inch":
                typed["rotor_diameter_m"] *= 39.37
            case "wrong_build" if typed["build"] > 1:
                typed["build"] -= 1
            case "fan_setting":
                factor = math.exp(-0.25 * team.wind_exponent / 2)
                trial.volts[:] = [displayed(volts * factor) for volts in trial.volts]
            case "axis_pitch":
                typed["pitch_deg"] = 90 - typed["pitch_deg"]
            case _:
                return False
        return True


def displayed(volts: float) -> float:
    """Return a voltage as a 3½-digit meter shows it: in steps of 1 mV below 2 V, else 10 mV."""
    return round(volts, 3) if volts < 2 else round(volts, 2)


def bench_name(school: dict[str, Any]) -> str:
    """Return the name of a school's bench."""
    return f"{school['name']} bench"
