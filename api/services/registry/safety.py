"""The safety figures of a build, in words for the person who runs it."""

from dataclasses import asdict
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement
from sqlmodel import Session, col, func, select

from analysis.safety import Blade, SafetyFigures, Tower, safety_figures
from analysis.trials.results import trial_results
from api.messages import say
from api.models.registry.builds import Build
from api.models.registry.safety import SafetyQuery, SafetyRead
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core import cautions, resources
from api.services.core.scope import Caller, may_see
from api.services.measurements import flags
from api.services.measurements.frames import read_frame

DEFAULT_WIND_M_S = 4.0  # [m/s], if no season and no trial gives one


def of_build(db: Session, caller: Caller, build_id: str, query: SafetyQuery) -> SafetyRead:
    """Return the safety figures of a build in the highest wind of its trials and season."""
    build = resources.get_row(db, caller, Build, build_id)
    turbine = db.get_one(Turbine, build.turbine_id)
    highest = highest_winds(db, col(Trial.build_id) == build.id, may_see(caller, Trial))
    wind = query.wind_speed_m_s or max(_reference(db, turbine), highest.get(build.id, 0.0))
    return shape(build, figures(build, turbine, wind))


def _reference(db: Session, turbine: Turbine) -> float:
    season = select(func.max(Season.reference_wind_speed_m_s)).join(
        Team, col(Team.season_id) == col(Season.id)
    )
    return db.scalar(season.where(col(Team.id) == turbine.team_id)) or DEFAULT_WIND_M_S


def highest_winds(db: Session, *conditions: ColumnElement[bool]) -> dict[str, float]:
    """Return the highest wind of the counted trials of each build [m/s]."""
    frame = read_frame(db, col(Trial.state) == flags.ACCEPTED, *conditions)
    if not len(frame):
        return {}
    winds = trial_results(frame.trials, frame.runs).wind_speed_m_s
    highest: dict[str, float] = {}
    for build_id, wind in zip(frame.trials["build_id"], winds, strict=True):
        if np.isfinite(wind):
            highest[str(build_id)] = max(float(wind), highest.get(str(build_id), 0.0))
    return highest


def figures(
    build: Build, turbine: Turbine, wind_speed_m_s: float, air_density_kg_m3: float = 1.225
) -> SafetyFigures:
    """Return the safety figures of a build and its tower."""
    return safety_figures(
        wind_speed_m_s,
        air_density_kg_m3,
        build.rotor_diameter_m,
        Blade(build.blade_mass_kg, build.blade_balance_radius_m),
        Tower(turbine.tower_mass_kg, turbine.tower_side_m, turbine.hub_height_m),
    )


def shape(build: Build, safety: SafetyFigures) -> SafetyRead:
    """Return figures as the API shape, with sentences and cautions."""
    return SafetyRead(
        build_id=build.id,
        sentences=_sentences(safety),
        cautions=list(cautions.everything()),
        **asdict(safety),
    )


def _sentences(safety: SafetyFigures) -> list[str]:
    """Return sentences that explain the figures, most serious first."""
    facts: dict[str, Any] = asdict(safety)
    has_energy = safety.blade_energy_j is not None
    key = "report_safety.energy" if has_energy else "report_safety.energy_not_known"
    facts["energy"] = say(key, joules=safety.blade_energy_j)
    facts["kilograms"] = (safety.pull_test_n or 0) / 9.80665
    keys = [
        "safety.guard" if safety.needs_guard else "",
        "safety.speed",
        "safety.pull" if safety.pull_test_n is not None else "safety.no_mass",
        _tower_key(safety),
    ]
    return [say(key, **facts) for key in keys if key]


def _tower_key(safety: SafetyFigures) -> str:
    if safety.tipping_ratio is None:
        return "safety.no_tower"
    return "safety.tower" if safety.tipping_ratio >= 1.5 else "safety.tower_may_fall"
