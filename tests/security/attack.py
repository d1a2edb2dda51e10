"""Attacks on what a key must not learn: each tried on the demo's season, before and now.

`python -m tests.security.attack` loads the demo's season, signs in as one school's coach and tries
to learn other schools' trials from the figures that all schools share. The attacker knows the
method, its own trials and everything that it may see; it looks as often as it likes, before and
after each write of the others. "Before" is the same service with figures in full and at once.
"""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from sqlmodel import Session, select

from analysis.resolution import step_of
from api.db import open_database
from api.models.organisations import Organisation
from api.models.seasons import Season
from api.services import published, season_fit
from api.services.published import LEAST_TRIALS
from api.services.season_trials import SeasonTrials, season_trials
from tests.programs import ROOT
from tests.reliability.places import print_table
from tests.service import Service

ATTACKER = "Tarnwick"
#: A hidden trial is made so much stronger, to see whether anything moves.
FACTOR = 1.10
#: How far changes of ln power scatter that an attacker solves for.
SPREAD = 0.4
SEED = 20_261_129


@dataclass(frozen=True)
class Target:
    """A season, the attacker's reach, and the places of the others' trials that count."""

    season: Season
    own: frozenset[str]
    every: SeasonTrials
    hidden: list[int]


@contextmanager
def demo_season() -> Iterator[Session]:
    """Open the database of the demo, loaded as its own command loads it."""
    port = Service.free_port()
    command = [sys.executable, "scripts/demo.py", "--once", "--port", str(port)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    file = ROOT / "var" / f"demo-{port}" / "demo.db"
    opened = open_database(f"sqlite:///{file}", threads=1, busy_timeout_s=20)
    with opened.reading() as db:
        yield db
    opened.close()


def target(db: Session) -> Target:
    """Return the demo's season as an attacker meets it."""
    season = db.scalars(select(Season)).one()
    school = db.scalars(select(Organisation).where(Organisation.name == ATTACKER)).one()
    every = season_trials(db, season)
    schools, kinds = every.trials["organisation_id"], every.trials["kind"]
    is_hidden = (schools != school.id) & np.isin(kinds.astype(str), season_fit.COMPARED)
    is_hidden &= every.trials["state"] == "accepted"
    return Target(season, frozenset({school.id}), every, np.flatnonzero(is_hidden).tolist())


def with_powers(every: SeasonTrials, factors: dict[int, float]) -> SeasonTrials:
    """Return the season with some trials' powers multiplied."""
    powers = every.results.normalised_power_w.copy()
    for at, factor in factors.items():
        powers[at] *= factor
    return SeasonTrials(every.trials, replace(every.results, normalised_power_w=powers))


def figures(db: Session, aim: Target, every: SeasonTrials, *, is_coarse: bool) -> np.ndarray:
    """Return what the attacker sees of its own builds and benches: ln of powers, and effects."""
    fitted = season_fit._fit(db, every)
    if is_coarse:
        fitted = replace(fitted, is_coarse=True)
    own = np.isin(every.trials["organisation_id"].astype(str), sorted(aim.own))
    builds = sorted({str(each) for each in every.trials["build_id"][own]} & set(fitted.fair))
    sessions = sorted({str(each) for each in every.trials["session_id"][own]})
    sessions = [each for each in sessions if each in fitted.to_average]
    return np.array(
        [np.log(fitted.fair[build].power_w) for build in builds]
        + [fitted.to_average[session] for session in sessions]
    )


def seen_after(db: Session, aim: Target, factors: dict[int, float], *, guarded: bool) -> np.ndarray:
    """Return what the attacker sees after some hidden trials changed."""
    after = with_powers(aim.every, factors)
    if guarded:
        schools = published._changed_schools(aim.every, after, aim.own)
        now = datetime.now(UTC)
        if not published._is_due(schools, now, now, aim.season.timezone):
            after = aim.every
    return figures(db, aim, after, is_coarse=guarded)


def detectable(db: Session, aim: Target, *, guarded: bool) -> int:
    """Return how many hidden trials move anything that the attacker sees."""
    quiet = seen_after(db, aim, {}, guarded=guarded)
    moved = (seen_after(db, aim, {at: FACTOR}, guarded=guarded) for at in aim.hidden)
    return sum(not np.array_equal(quiet, each) for each in moved)


def responses(db: Session, aim: Target) -> np.ndarray:
    """Return how each figure moves with ln power of each hidden trial: the attacker's model."""
    quiet = figures(db, aim, aim.every, is_coarse=False)
    moved = [
        figures(db, aim, with_powers(aim.every, {at: FACTOR}), is_coarse=False) - quiet
        for at in aim.hidden
    ]
    return np.array(moved).T / np.log(FACTOR)


def errors_of_one(db: Session, aim: Target, model: np.ndarray, *, guarded: bool) -> np.ndarray:
    """Return the relative error of each hidden trial that is solved for when it alone changes.

    By how much it changes is drawn; where nothing moves, the attacker is left with no change.
    """
    quiet, found, draw = seen_after(db, aim, {}, guarded=guarded), [], np.random.default_rng(SEED)
    for column, at in enumerate(aim.hidden):
        true = float(draw.normal(0, SPREAD))
        moved = seen_after(db, aim, {at: float(np.exp(true))}, guarded=guarded) - quiet
        response = model[:, column]
        if response.any():
            guess = float(response @ moved / (response @ response))
            found.append(abs(np.exp(guess - true) - 1))
    return np.array(found)


def errors_of_several(db: Session, aim: Target, model: np.ndarray, *, guarded: bool) -> np.ndarray:
    """Return the errors where the fewest trials change together that are ever published at once.

    The attacker expects changes of the size that they have, and solves for all of them by least
    squares with that expectation.
    """
    draw, found = np.random.default_rng(SEED), []
    quiet = seen_after(db, aim, {}, guarded=guarded)
    schools = aim.every.trials["organisation_id"]
    for _ in range(len(aim.hidden)):
        some = draw.choice(len(aim.hidden), LEAST_TRIALS, replace=False)
        if len({str(schools[aim.hidden[at]]) for at in some}) < published.LEAST_SCHOOLS:
            continue
        true = draw.normal(0, SPREAD, LEAST_TRIALS)
        factors = {
            aim.hidden[at]: float(np.exp(change)) for at, change in zip(some, true, strict=True)
        }
        moved = seen_after(db, aim, factors, guarded=guarded) - quiet
        response = model[:, some]
        noise = (step_of(0.05) / np.sqrt(6)) ** 2 if guarded else 1e-12
        normal = response.T @ response / noise + np.eye(LEAST_TRIALS) / SPREAD**2
        guess = np.linalg.solve(normal, response.T @ moved / noise)
        found.extend(np.abs(np.expm1(np.clip(guess - true, -5, 5))))
    return np.array(found)


def rows(db: Session) -> list[dict[str, object]]:
    """Return one row for each attack: the best that was reached, before and now."""
    aim = target(db)
    count, model = len(aim.hidden), responses(db, aim)
    one = {guarded: errors_of_one(db, aim, model, guarded=guarded) for guarded in (False, True)}
    several = {
        guarded: errors_of_several(db, aim, model, guarded=guarded) for guarded in (False, True)
    }

    def told(errors: np.ndarray) -> str:
        return f"best {errors.min():.1%}, median {np.median(errors):.1%}"

    return [
        {
            "attack": "look before and after each hidden trial", "tried": f"{count} trials + 10 %",
            "before": f"{detectable(db, aim, guarded=False)} of {count} move something",
            "now": f"{detectable(db, aim, guarded=True)} of {count}",
        },
        {
            "attack": "solve for a trial that changes alone", "tried": f"{count} trials",
            "before": f"error {told(one[False])}", "now": f"error {told(one[True])}",
        },
        {
            "attack": f"solve for {LEAST_TRIALS} trials of two schools that change together",
            "tried": f"{len(several[True])} unknowns",
            "before": f"error {told(several[False])}", "now": f"error {told(several[True])}",
        },
    ]  # fmt: skip


def main() -> None:
    with demo_season() as db:
        print_table(f"What a coach of {ATTACKER} learns of other schools' trials", rows(db))


if __name__ == "__main__":
    main()
