"""Make an invented season as the files that coaches could have typed.

Usage: python3 scripts/make_season.py FOLDER [--seed N] [--labels FILE]

Reads FOLDER/parameters.toml and writes the tables of a season beside it. Plain Python: one seed
always gives the same files. The mistakes that people make are in the trials on purpose; --labels
writes, for scoring the data checks, what each reading truly was.
"""

import argparse
import csv
import math
import sys
import tomllib
from datetime import date, timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scripts.invented_event import event_rows, held_on
from scripts.invented_season import Build, Season, bench_name

TRIAL_COLUMNS = (
    "organisation", "team", "turbine", "build", "bench", "session_started_at", "kind",
    "client_ref", "run", "pitch_deg", "load_ohm", "load_connected", "voltage_v",
    "wind_speed_m_s", "meter_range_v", "air_temperature_c", "pressure_hpa",
    "relative_humidity_pct", "warm_up_min", "adult_present", "duration_s", "rotor_diameter_m",
)  # fmt: skip
LABEL_COLUMNS = ("client_ref", "run", "organisation", "team", "truth_ln_p", "mistake")


def meter_range(volts: list[float]) -> float:
    """Return the smallest range of a meter that can show all of these voltages."""
    return next((limit for limit in (2.0, 20.0, 200.0) if max(volts) < limit), 1000.0)


def write_table(path: Path, rows: list[dict[str, Any]], delimiter: str = ",") -> None:
    """Write rows as a table; a missing value is an empty cell."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), delimiter=delimiter, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def trial_rows(season: Season, school: dict[str, Any]) -> list[dict[str, Any]]:
    """Return a school's trials as typed, one row per run."""
    rows = []
    for session, trial in season.trials:
        if session.school is not school:
            continue
        common = session.typed | trial.typed | {"meter_range_v": meter_range(trial.volts)}
        for run, volts in enumerate(trial.volts, start=1):
            row = common | {"run": run, "voltage_v": volts, "duration_s": 30}
            rows.append({name: _cell(row.get(name), school["decimal"]) for name in TRIAL_COLUMNS})
    return rows


def _cell(value: Any, decimal: str) -> str:
    if value is None:
        return ""
    return str(value).replace(".", decimal) if isinstance(value, float) else str(value)


def label_rows(season: Season) -> list[dict[str, Any]]:
    """Return the true power and the mistakes of each reading, for scoring."""
    return [
        {
            "client_ref": trial.typed["client_ref"],
            "run": run + 1,
            "organisation": session.school["name"],
            "team": trial.typed.get("team", ""),
            "truth_ln_p": round(trial.ln_truth, 5),
            "mistake": " ".join(
                [*trial.mistakes, *([trial.run_mistakes[run]] if run in trial.run_mistakes else []),
                 *(["cold_fan"] if session.cold_fan else [])]
            ),
        }
        for session, trial in season.trials
        for run in range(len(trial.volts))
    ]  # fmt: skip


def write_season(season: Season, folder: Path) -> int:
    """Write all tables of a season; return the number of readings."""
    parameters = season.parameters
    schools, rotor = parameters["schools"], parameters["reference_rotor"]
    write_table(folder / "season.csv", [_season_row(parameters)])
    write_table(
        folder / "organisations.csv",
        [
            {"name": school["name"], "altitude_m": school["altitude_m"], "sharing": "named"}
            for school in schools
        ],
    )
    write_table(folder / "equipment.csv", _equipment(season))
    write_table(
        folder / "teams.csv",
        [{"organisation": t.school["name"], "name": t.name, "size": 4} for t in season.teams],
    )
    write_table(folder / "turbines.csv", _turbines(season))
    write_table(folder / "builds.csv", _builds(season, rotor))
    write_table(
        folder / "benches.csv",
        [*(_bench(school) for school in schools), _event_bench(parameters["event"])],
    )
    write_table(folder / "wind_grids.csv", [row for s in schools for row in _grid(s, parameters)])
    write_table(folder / "events.csv", [_event(parameters)])
    write_table(folder / "loans.csv", _loans(parameters))
    rows = [_event_cells(row) for row in event_rows(season)]
    write_table(folder / "trials_event.csv", rows)
    readings = len(rows)
    for school in schools:
        rows = trial_rows(season, school)
        name = school["name"].lower().replace(" ", "_")
        write_table(folder / f"trials_{name}.csv", rows, school["delimiter"])
        readings += len(rows)
    return readings


def _event(parameters: dict[str, Any]) -> dict[str, Any]:
    event = parameters["event"]
    return {
        "name": event["name"],
        "held_on": held_on(parameters),
        "place": event["place"],
        "wind_speed_m_s": event["wind_speed_m_s"],
        "best_of": event["best_of"],
    }


def _loans(parameters: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the programme's loans for the season: reference rotor and wind meter to the host."""
    first = date.fromisoformat(parameters["first_monday"])
    host = parameters["event"]["host"]
    until = held_on(parameters) + timedelta(days=14)
    return [
        {"equipment": tag, "organisation": host, "lent_on": first, "due_on": until,
         "condition_out": "good", "spares_out": spares, "signed_by": "science teacher"}
        for tag, spares in (("Reference rotor box", 2), ("Coach wind meter", 0))
    ]  # fmt: skip


def _event_cells(row: dict[str, Any]) -> dict[str, str]:
    typed = row | {"meter_range_v": meter_range([row["voltage_v"]])}
    return {name: _cell(typed.get(name), ".") for name in TRIAL_COLUMNS}


def _season_row(parameters: dict[str, Any]) -> dict[str, Any]:
    monday = date.fromisoformat(parameters["first_monday"])
    return {
        "name": f"Spring {monday.year}",
        "starts_on": monday,
        "ends_on": monday + timedelta(weeks=parameters["weeks"] + 4, days=-3),
        "timezone": "Europe/Dublin",
        "reference_wind_speed_m_s": parameters["reference_wind_speed_m_s"],
    }


def _equipment(season: Season) -> list[dict[str, Any]]:
    columns = ("organisation", "kind", "tag", "diameter_m", "type", "counts", "percent", "digits",
               "emf_constant_v_s_rad", "winding_resistance_ohm", "class",
               "spares")  # fmt: skip
    rows: list[dict[str, Any]] = [
        {"kind": "generator", "tag": "Reference rotor generator", "emf_constant_v_s_rad": 0.03,
         "winding_resistance_ohm": 8.0, "class": "B"},
        {"kind": "reference_rotor", "tag": "Reference rotor box", "spares": 2},
        {"kind": "anemometer", "tag": "Coach wind meter", "type": "hot_wire"},
    ]  # fmt: skip
    for school in season.parameters["schools"]:
        name = school["name"]
        rows += [
            {"organisation": name, "kind": "fan", "tag": f"{name} fan", "diameter_m": 0.75},
            {"organisation": name, "kind": "anemometer", "tag": f"{name} wind meter",
             "type": "vane"},
            {"organisation": name, "kind": "meter", "tag": f"{name} meter", "counts": 1999,
             "percent": 0.5, "digits": 2},
        ]  # fmt: skip
    host = season.parameters["event"]["host"]
    rows += [
        {"organisation": host, "kind": "fan", "tag": "Sports hall fan", "diameter_m": 0.8},
        {"organisation": host, "kind": "anemometer", "tag": "Sports hall wind meter",
         "type": "vane"},
    ]  # fmt: skip
    for team in season.teams:
        constants = {k: v for k, v in team.generator.items() if k in columns}
        rows.append(
            {"organisation": team.school["name"], "kind": "generator",
             "tag": f"{team.name} generator", "class": team.generator["name"]} | constants
        )  # fmt: skip
    return [{name: row.get(name, "") for name in columns} for row in rows]


def _turbines(season: Season) -> list[dict[str, Any]]:
    teams = [
        {"organisation": team.school["name"], "team": team.name, "name": f"{team.name} turbine",
         "rotor": "", "generator": f"{team.name} generator", "hub_height_m": 0.7}
        | _tower(at)
        for at, team in enumerate(season.teams)
    ]  # fmt: skip
    rotor = {"organisation": "", "team": "", "name": "Reference rotor",
             "rotor": "Reference rotor box", "generator": "Reference rotor generator",
             "hub_height_m": 0.7, "tower_side_m": 0.4, "tower_mass_kg": 2.0}  # fmt: skip
    return [rotor, *teams]


def _tower(at: int) -> dict[str, Any]:
    """Return a team's tower: mostly stable, one in eight too light, one in eight not measured."""
    if at % 8 == 3:
        return {"tower_side_m": 0.28, "tower_mass_kg": 0.6}
    if at % 8 == 6:
        return {"tower_side_m": "", "tower_mass_kg": ""}
    return {"tower_side_m": 0.40, "tower_mass_kg": round(1.5 + 0.1 * (at % 5), 1)}


def _blades(at: int, diameter_m: float) -> dict[str, Any]:
    """Return a team's blades: some not weighed, some on a push fit."""
    return {
        "blade_mass_kg": "" if at % 6 == 5 else round(0.010 * (diameter_m / 0.45) ** 2, 4),
        "blade_fixing": ("screwed", "glued", "pinned", "push_fit")[at % 4],
        "material": ("card", "balsa", "plywood")[at % 3] if at % 7 != 4 else "",
    }


def _builds(season: Season, rotor: dict[str, Any]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = [
        {"organisation": "", "team": "", "turbine": "Reference rotor", "number": 1,
         "rotor_diameter_m": rotor["rotor_diameter_m"], "blade_count": 3,
         "pitch_deg": rotor["pitch_deg"], "load_ohm": rotor["load_ohm"], "changed_factor": "",
         "assigned_power_w": rotor["power_w"], "blade_mass_kg": 0.012, "blade_fixing": "moulded",
         "material": "plywood"}
    ]  # fmt: skip
    for at, team in enumerate(season.teams):
        before = None
        for build in team.builds:
            rows.append(
                {"organisation": team.school["name"], "team": team.name,
                 "turbine": f"{team.name} turbine", "number": build.number,
                 "rotor_diameter_m": team.rotor_diameter_m, "blade_count": team.blade_count,
                 "pitch_deg": build.pitch_deg, "load_ohm": build.load_ohm,
                 "changed_factor": _changed_factor(before, build), "assigned_power_w": ""}
                | _blades(at, team.rotor_diameter_m)
            )  # fmt: skip
            before = build
    return rows


def _changed_factor(before: Build | None, build: Build) -> str:
    if before is None:
        return ""
    factors = [
        word
        for word, is_changed in (
            ("pitch", before.pitch_deg != build.pitch_deg),
            ("load", before.load_ohm != build.load_ohm),
        )
        if is_changed
    ]
    return " and ".join(factors) or "blade finish"


def _bench(school: dict[str, Any]) -> dict[str, Any]:
    name = school["name"]
    return {
        "organisation": name,
        "name": bench_name(school),
        "fan": f"{name} fan",
        "fan_setting": "2",
        "distance_m": school["distance_m"],
        "hub_height_m": 0.8,
        "anemometer": f"{name} wind meter",
    }


def _event_bench(event: dict[str, Any]) -> dict[str, Any]:
    return {
        "organisation": event["host"],
        "name": event["bench"],
        "fan": "Sports hall fan",
        "fan_setting": "3",
        "distance_m": 1.1,
        "hub_height_m": 0.8,
        "anemometer": "Sports hall wind meter",
    }


def _grid(school: dict[str, Any], parameters: dict[str, Any]) -> list[dict[str, Any]]:
    """Return a five-point grid around the school's own wind, weaker at the hub."""
    typical = parameters["reference_wind_speed_m_s"] * math.exp(
        school["ln_fan"] + school["ln_meter"]
    )
    points = ((0, 0, 0.90), (0.75, 0, 1.02), (0, 0.75, 1.05), (-0.75, 0, 0.98), (0, -0.75, 1.01))
    return [
        {"organisation": school["name"], "bench": bench_name(school), "x_radii": x, "y_radii": y,
         "wind_speed_m_s": round(typical * share, 2)}
        for x, y, share in points
    ]  # fmt: skip


def make(folder: Path, seed: int | None = None) -> Season:
    """Return the season drawn with a folder's parameters and a seed."""
    parameters = tomllib.loads((folder / "parameters.toml").read_text(encoding="utf-8"))
    return Season(parameters, parameters["seed"] if seed is None else seed)


def main() -> None:
    """Write the season that the command line asks for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int)
    parser.add_argument("--labels", type=Path)
    options = parser.parse_args()
    season = make(options.folder, options.seed)
    readings = write_season(season, options.folder)
    if options.labels:
        write_table(options.labels, label_rows(season))
    print(f"{len(season.trials)} trials, {readings} readings")


if __name__ == "__main__":
    main()
