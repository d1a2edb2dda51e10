"""Invent an event after an invented season: one hall, one wind, every team's newest build.

It has its own random numbers, so that those of the season do not change.
"""

import math
import random
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

from scripts.invented_season import Season, Team, density_kg_m3, displayed, standard_pressure_hpa

Row = dict[str, Any]


def held_on(parameters: dict[str, Any]) -> date:
    """Return the Saturday of the event."""
    monday = date.fromisoformat(parameters["first_monday"])
    return monday + timedelta(weeks=parameters["event"]["week"], days=5)


def event_rows(season: Season) -> list[Row]:
    """Return the event's readings as typed, with the reference rotor first and last."""
    day = _Day(season)
    rows = [day.reference(1)]
    for attempt in range(1, day.event["best_of"] + 1):
        order = list(season.teams)
        day.draw.shuffle(order)
        rows += [row for team in order for row in day.run(team, attempt)]
    return [*rows, day.reference(2)]


class _Day:
    """One day in the hall: its air, its wind, and the random effects of all teams."""

    def __init__(self, season: Season) -> None:
        self.season, self.parameters = season, season.parameters
        self.event = self.parameters["event"]
        self.draw = random.Random(f"event of season {season.seed}")
        host = next(s for s in self.parameters["schools"] if s["name"] == self.event["host"])
        self.pressure = standard_pressure_hpa(host["altitude_m"]) * math.exp(
            self.draw.gauss(0, self.parameters["scatter"]["pressure"])
        )
        density = density_kg_m3(self.event["temperature_c"], self.pressure, 45)
        self.ln_density = math.log(density / 1.225)
        planned = self.event["wind_speed_m_s"] / self.parameters["reference_wind_speed_m_s"]
        self.ln_wind = math.log(planned) + self.draw.gauss(0, 0.02)
        self.affinity = {
            team.name: self.draw.gauss(0, self.parameters["scatter"]["bench_team"])
            for team in season.teams
        }

    def run(self, team: Team, attempt: int) -> Iterator[Row]:
        """Yield one run of a team's newest build, unless it does not finish."""
        if self.draw.random() < self.event["not_finishing"]:
            return
        build = team.builds[-1]
        ln_power = (
            build.ln_power
            + self._hall(team.wind_exponent, team.density_exponent)
            + self.affinity[team.name]
            + self.draw.gauss(0, self.event["execution"])
        )
        yield self._row(
            ln_power,
            build.load_ohm,
            organisation=team.school["name"],
            team=team.name,
            turbine=f"{team.name} turbine",
            build=build.number,
            kind="event",
            client_ref=f"{self.event['short']}-{team.name.lower()}-{attempt}",
            pitch_deg=build.pitch_deg,
            rotor_diameter_m=team.rotor_diameter_m,
        )

    def reference(self, attempt: int) -> Row:
        """Return one run of the reference rotor."""
        rotor = self.parameters["reference_rotor"]
        ln_power = (
            math.log(rotor["power_w"])
            + self._hall(rotor["wind_exponent"], rotor["density_exponent"])
            + self.draw.gauss(0, self.parameters["scatter"]["repeat"])
        )
        return self._row(
            ln_power,
            rotor["load_ohm"],
            organisation="",
            team="",
            turbine="Reference rotor",
            build=1,
            kind="reference",
            client_ref=f"{self.event['short']}-reference-{attempt}",
            pitch_deg=rotor["pitch_deg"],
            rotor_diameter_m=rotor["rotor_diameter_m"],
        )

    def _hall(self, wind_exponent: float, density_exponent: float) -> float:
        """Return the effect of the hall on ln power: its wind, its air and its fan's bias."""
        air: float = density_exponent * self.ln_density
        return wind_exponent * self.ln_wind + air + float(self.event["ln_jet"])

    def _row(self, ln_power: float, load_ohm: float, **named: Any) -> Row:
        noise = self.draw.gauss(0, self.parameters["scatter"]["wind_meter"])
        reference = self.parameters["reference_wind_speed_m_s"]
        day = held_on(self.parameters)
        return named | {
            "bench": self.event["bench"],
            "session_started_at": f"{day} 10:00",
            "run": 1,
            "load_ohm": load_ohm,
            "load_connected": "yes",
            "voltage_v": displayed(math.sqrt(math.exp(ln_power) * load_ohm)),
            "wind_speed_m_s": round(reference * math.exp(self.ln_wind + noise), 2),
            "air_temperature_c": self.event["temperature_c"],
            "pressure_hpa": round(self.pressure),
            "relative_humidity_pct": 45,
            "warm_up_min": 10,
            "adult_present": "yes",
            "duration_s": 30,
        }
