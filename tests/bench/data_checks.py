"""How many labelled mistakes of invented seasons are caught, and how many clean trials are suspect.

Usage: python -m tests.bench.data_checks [SEEDS]

Takes the seasons of demo_seed's parameters with seeds 1 to SEEDS (default 40) as they would be
typed. A value beyond a field's limits is refused at entry, where the refusal names the unit that
was probably meant; the rest is stored and checked. A mistake is caught where its trial is refused
or one of the rules that are about it finds it.
"""

import math
import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.checks.all_checks import check_trials
from analysis.checks.view import View
from analysis.columns import (
    CHECK_COLUMNS,
    CHECK_RUN_COLUMNS,
    CHECK_TEXT_COLUMNS,
    RUN_COLUMNS,
    TEXT_COLUMNS,
    TRIAL_COLUMNS,
)
from analysis.trials.results import trial_results
from scripts.invented_season import Season
from scripts.make_season import make, meter_range

SEED_FOLDER = Path(__file__).parents[2] / "demo_seed"
#: What a field refuses at entry, naming the unit that was probably meant.
LIMITS = {
    "load_ohm": (0.05, 1e6), "rotor_diameter_m": (0.1, 1.5), "wind_speed_m_s": (0.3, 20),
    "pitch_deg": (-10, 90),
}  # fmt: skip
MOST_VOLTS = 60.0
#: The rules that are about each kind of mistake.
ABOUT = {
    "mph": ("wind_unit_slip",),
    "millivolt": ("millivolt_slip", "impossible_power"),
    "kiloohm": ("kiloohm_slip", "impossible_power"),
    "inch": ("diameter_slip",),
    "radius": ("diameter_slip",),
    "axis_pitch": ("pitch_from_axis",),
    "duplicate": ("duplicate",),
    "decimal": (
        "runs_disagree",
        "decimal_slip",
        "voltage_unlike_before",
        "impossible_power",
        "unlikely_power",
    ),
    "slip": ("runs_disagree", "voltage_unlike_before"),
    "wrong_build": ("wrong_build",),
    "open_circuit": ("voltage_unlike_before", "decimal_slip", "impossible_power", "unlikely_power"),
    "fan_setting": ("voltage_unlike_before",),
    "cold_fan": ("cold_fan",),
}
GOALS = {"mph": 99, "millivolt": 99, "kiloohm": 99, "inch": 99, "axis_pitch": 99, "duplicate": 99,
         "radius": 97}  # fmt: skip


def main(arguments: list[str]) -> None:
    """Print both tables."""
    seeds = int(arguments[0]) if arguments else 40
    made, caught, refused = Counter(), Counter(), Counter()
    clean, alarms, held, apart = 0, Counter(), 0, Counter()
    for seed in range(1, seeds + 1):
        tally = inspect(make(SEED_FOLDER, seed))
        made.update(tally["made"])
        caught.update(tally["caught"])
        refused.update(tally["refused"])
        alarms.update(tally["alarms"])
        apart.update(tally["apart"])
        clean += tally["clean"]
        held += tally["held"]
    print(f"{seeds} seasons: mistakes caught")
    print(f"{'mistake':14} {'made':>6} {'refused':>8} {'caught':>8} {'share':>7} {'goal':>6}")
    for name in ABOUT:
        share = 100 * caught[name] / max(1, made[name])
        goal = f"{GOALS[name]} %" if name in GOALS else "–"
        print(
            f"{name:14} {made[name]:6} {refused[name]:8} {caught[name]:8} {share:6.1f}% {goal:>6}"
        )
    print(f"runs apart by more than 0.20 in ln P: {apart['held']} of {apart['made']} held")
    print(f"\nfalse alarms in {clean} clean trials; held by any rule: {held} "
          f"({100 * held / clean:.2f} %)")  # fmt: skip
    for (rule, severity), count in sorted(alarms.items(), key=lambda each: -each[1]):
        print(f"{rule:24} {severity:5} {count:6} {100 * count / clean:6.2f} %")


def false_claims(seeds: range) -> dict[str, str]:
    """Return how many clean trials of some seasons are held, and how many mistakes are caught."""
    tallies = [inspect(make(SEED_FOLDER, seed)) for seed in seeds]
    clean, held = (sum(tally[name] for tally in tallies) for name in ("clean", "held"))
    made, caught = (sum(tally[name].total() for tally in tallies) for name in ("made", "caught"))
    return {"clean trials": str(clean), "held": f"{100 * held / clean:.2f} %",
            "mistakes": str(made), "caught": f"{100 * caught / made:.1f} %"}  # fmt: skip


def inspect(season: Season) -> dict:
    """Return the counts of mistakes made, refused and caught, and of suspect trials."""
    stored, refused_trials = [], []
    for number, (session, trial) in enumerate(season.trials):
        (refused_trials if _is_refused(trial) else stored).append((number, session, trial))
    view = _view(season, stored)
    by_trial: dict[int, set[tuple[str, str]]] = {}
    by_session: dict[str, set[tuple[str, str]]] = {}
    for finding in check_trials(view):
        mark = finding.rule.name, finding.rule.severity
        session_id = str(view.trials["session_id"][finding.trial])
        if finding.rule.scope == "session":
            by_session.setdefault(session_id, set()).add(mark)
        else:
            by_trial.setdefault(finding.trial, set()).add(mark)
    tally = {"made": Counter(), "caught": Counter(), "refused": Counter(), "alarms": Counter(),
             "clean": 0, "held": 0, "apart": Counter()}  # fmt: skip
    for _, session, trial in refused_trials:
        for mistake in _mistakes(session, trial):
            tally["made"][mistake] += 1
            tally["caught"][mistake] += 1
            tally["refused"][mistake] += 1
    for position, (_, session, trial) in enumerate(stored):
        session_id = str(view.trials["session_id"][position])
        marks = by_trial.get(position, set()) | by_session.get(session_id, set())
        names = {name for name, _ in marks}
        mistakes = _mistakes(session, trial)
        for mistake in mistakes:
            tally["made"][mistake] += 1
            tally["caught"][mistake] += bool(names & set(ABOUT[mistake]))
        if view.results.ln_power_range[position] > 0.20:
            tally["apart"]["made"] += 1
            tally["apart"]["held"] += ("runs_disagree", "hold") in marks
        if not mistakes:
            tally["clean"] += 1
            own = by_trial.get(position, set())
            tally["alarms"].update(own)
            tally["held"] += any(severity == "hold" for _, severity in own)
    return tally


def _is_refused(trial) -> bool:
    beyond = any(
        not low <= trial.typed[name] <= high
        for name, (low, high) in LIMITS.items()
        if trial.typed.get(name) is not None
    )
    return beyond or max(trial.volts) > MOST_VOLTS


def _mistakes(session, trial) -> list[str]:
    cold = ["cold_fan"] if session.cold_fan else []
    return [*dict.fromkeys([*trial.mistakes, *trial.run_mistakes.values()]), *cold]


def _view(season: Season, stored: list) -> View:
    builds = {(team.name, build.number): build for team in season.teams for build in team.builds}
    teams = {team.name: team for team in season.teams}
    rows, runs = [], []
    for position, (number, session, trial) in enumerate(stored):
        rows.append(_row(season, builds, teams, number, session, trial))
        runs += [{"trial": position, "voltage_v": v, "duration_s": 30.0} for v in trial.volts]
    columns = [*TRIAL_COLUMNS, *CHECK_COLUMNS]
    frame = pd.DataFrame(rows).reindex(columns=list(dict.fromkeys([*rows[0], *columns])))
    texts = [name for name in (*TEXT_COLUMNS, *CHECK_TEXT_COLUMNS) if name not in rows[0]]
    frame[texts] = ""
    trials = {name: frame[name].to_numpy() for name in frame}
    run_frame = pd.DataFrame(runs).reindex(columns=[*RUN_COLUMNS, *CHECK_RUN_COLUMNS])
    run_columns = {name: run_frame[name].to_numpy() for name in run_frame}
    return View(trials, run_columns, trial_results(trials, run_columns))


def _row(season, builds, teams, number, session, trial) -> dict:
    school, typed = session.school, trial.typed
    team = typed.get("team", "")
    build = builds.get((team, typed["build"]))
    before = builds.get((team, typed["build"] - 1))
    after = builds.get((team, typed["build"] + 1))
    if after and session.week < 2 * (typed["build"]):  # not made yet
        after = None
    rotor = season.parameters["reference_rotor"]
    return {
        "trial_id": f"{number:06d}",
        "kind": typed["kind"],
        "state": "accepted",
        "build_id": f"{team}-{typed['build']}" if team else "reference",
        "turbine_id": team or "reference",
        "build_number": float(typed["build"]),
        "bench_id": school["name"],
        "session_id": f"{school['name']} {session.week}",
        "started_at": session.started_at.timestamp(),
        "pitch_deg": typed["pitch_deg"],
        "load_ohm": typed["load_ohm"],
        "sheet_diameter_m": typed["rotor_diameter_m"],
        "rotor_diameter_m": teams[team].rotor_diameter_m if team else rotor["rotor_diameter_m"],
        "build_pitch_deg": build.pitch_deg if build else rotor["pitch_deg"],
        "build_load_ohm": build.load_ohm if build else rotor["load_ohm"],
        "previous_pitch_deg": before.pitch_deg if before else math.nan,
        "previous_load_ohm": before.load_ohm if before else math.nan,
        "next_pitch_deg": after.pitch_deg if after else math.nan,
        "next_load_ohm": after.load_ohm if after else math.nan,
        "changed_factor": "pitch",
        "wind_speed_m_s": typed["wind_speed_m_s"],
        "grid_points": 5.0,
        "grid_unevenness": 0.05,
        "anemometer_type": "vane",
        "meter_range_v": meter_range(trial.volts),
        "meter_counts": 1999.0,
        "meter_percent": 0.5,
        "meter_digits": 2.0,
        "fan_diameter_m": np.nan,
        "warm_up_min": float(session.typed["warm_up_min"]),
        "air_temperature_c": session.typed["air_temperature_c"],
        "pressure_hpa": session.typed["pressure_hpa"] or math.nan,
        "relative_humidity_pct": session.typed["relative_humidity_pct"],
        "altitude_m": school["altitude_m"],
        "gear_ratio": 1.0,
        "season_starts_at": -math.inf,
        "season_ends_at": math.inf,
        "reference_wind_speed_m_s": 4.0,
        "reference_air_density_kg_m3": 1.225,
    }


if __name__ == "__main__":
    main(sys.argv[1:])
