"""What a coach can learn of other schools' trials from figures that all schools share.

The attacker knows the method, its own trials and everything that it may see; it looks as often as
it likes, before and after each write of the others, and moves its own readings to find out between
which two steps a figure is. "Before" is the same service with figures in full and at once.
"""

import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cached_property

import numpy as np
from sqlmodel import Session, select

from analysis.numeric.resolution import step_of
from api.db import open_database
from api.models.registry.benches import Bench
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.services.measurements.season_trials import SeasonTrials, season_trials
from api.services.publishing.moved_trials import (
    LEAST_SCHOOLS,
    LEAST_TRIALS,
    Ages,
    facts_of,
    moved_trials,
    states_of,
)
from api.services.season import fit, fit_columns
from tests.support.programs import ROOT
from tests.support.service import Service

ATTACKER = "Tarnwick"
#: A hidden trial is made so much stronger, to see whether anything moves.
FACTOR = 1.10
#: How far changes of ln power scatter that an attacker solves for.
SPREAD = 0.4
#: What a figure's ln is rounded by, at most: a tenth of the smallest uncertainty of the demo's.
ROUNDING = step_of(0.05) / np.sqrt(6)
#: How well an attacker may take its model to hold; it tries each and is given the best.
TRUSTED = (1e-6, 1e-4, 1e-3, 1e-2)
SEED = 20_261_129


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


@dataclass(frozen=True)
class Target:
    """The demo's season as one school's coach meets it."""

    db: Session
    every: SeasonTrials
    own: frozenset[str]

    @cached_property
    def hidden(self) -> list[int]:
        """Return the places of the others' trials that count."""
        trials = self.every.trials
        is_hidden = ~np.isin(trials["organisation_id"].astype(str), sorted(self.own))
        is_hidden &= np.isin(trials["kind"].astype(str), fit_columns.COMPARED)
        return np.flatnonzero(is_hidden & (trials["state"] == "accepted")).tolist()

    def changed(self, factors: dict[int, float]) -> SeasonTrials:
        """Return the season with some trials' powers multiplied, by their places."""
        powers = self.every.results.normalised_power_w.copy()
        for at, factor in factors.items():
            powers[at] *= factor
        results = replace(self.every.results, normalised_power_w=powers)
        return SeasonTrials(self.every.trials, results)

    def corrected(self, at: int) -> SeasonTrials:
        """Return the season with one trial corrected, which made it stronger."""
        versions = self.every.trials["version"].copy()
        versions[at] += 1
        changed = self.changed({at: FACTOR})
        return replace(changed, trials=changed.trials | {"version": versions})

    def figures(self, factors: dict[int, float]) -> tuple[np.ndarray, np.ndarray]:
        """Return ln of own builds' powers and own benches' effects, in full and as given.

        Some trials' powers are multiplied first, by their places.
        """
        fitted = fit._fit(self.db, self.changed(factors))
        return self._seen(fitted), self._seen(replace(fitted, is_coarse=True))

    def _seen(self, fitted: fit.Fitted) -> np.ndarray:
        trials = self.every.trials
        own = np.isin(trials["organisation_id"].astype(str), sorted(self.own))
        builds = sorted({str(each) for each in trials["build_id"][own]} & set(fitted.fair))
        sessions = sorted({str(each) for each in trials["session_id"][own]})
        return np.array(
            [np.log(fitted.fair[build].power_w) for build in builds]
            + [fitted.to_average[each] for each in sessions if each in fitted.to_average]
        )

    @cached_property
    def quiet(self) -> np.ndarray:
        """Return the figures in full while nothing changes."""
        return self.figures({})[0]

    @cached_property
    def model(self) -> np.ndarray:
        """Return the derivative of each figure by ln power of each hidden trial."""
        moved = [self.figures({at: FACTOR})[0] - self.quiet for at in self.hidden]
        return np.array(moved).T / np.log(FACTOR)


def target(db: Session) -> Target:
    """Return the demo's season as the attacker meets it."""
    season = db.scalars(select(Season)).one()
    school = db.scalars(select(Organisation).where(Organisation.name == ATTACKER)).one()
    return Target(db, season_trials(db, season), frozenset({school.id}))


def shown_alone(aim: Target) -> int:
    """Return how many hidden trials are published when only they change."""
    hosts = {row.id: row.organisation_id for row in aim.db.scalars(select(Bench))}
    now = datetime.now(UTC)
    states, shown = np.union1d(states_of(aim.every), facts_of(aim.every)), 0
    today = Ages(now, "UTC", now.timestamp(), lambda: np.array([now.timestamp()]))
    for at in aim.hidden:
        moved = moved_trials(aim.every, aim.corrected(at), states, hosts)
        shown += moved.outside(aim.own) and moved.may_be_shown([aim.own], today)
    return shown


def errors_of_one(aim: Target) -> np.ndarray:
    """Return the relative error of each hidden trial solved for when only this trial changes.

    By how much it changes is drawn. Nothing is published then, so this is possible only "before".
    """
    draw, errors = np.random.default_rng(SEED), []
    for column, at in enumerate(aim.hidden):
        true, response = float(draw.normal(0, SPREAD)), aim.model[:, column]
        moved = aim.figures({at: float(np.exp(true))})[0] - aim.quiet
        if response.any():
            guess = float(response @ moved / (response @ response))
            errors.append(abs(np.expm1(guess - true)))
    return np.array(errors)


def guesses_of_one(aim: Target) -> np.ndarray:
    """Return the errors of anyone who is shown nothing and takes it that nothing changed."""
    changes = np.random.default_rng(SEED).normal(0, SPREAD, len(aim.hidden))
    return np.abs(np.expm1(-changes))


@dataclass(frozen=True)
class Together:
    """Changes of the fewest trials that are ever published together, and what was seen of them."""

    some: Sequence[int]
    true: np.ndarray
    in_full: np.ndarray
    as_given: np.ndarray


def changes_together(aim: Target) -> list[Together]:
    """Return as many draws of such changes as there are hidden trials."""
    draw, attacks = np.random.default_rng(SEED), []
    schools, published = aim.every.trials["organisation_id"], aim.figures({})[1]
    for _ in range(len(aim.hidden)):
        some = draw.choice(len(aim.hidden), LEAST_TRIALS, replace=False)
        true = draw.normal(0, SPREAD, LEAST_TRIALS)
        if len({str(schools[aim.hidden[at]]) for at in some}) < LEAST_SCHOOLS:
            continue
        factors = dict(zip([aim.hidden[at] for at in some], np.exp(true).tolist(), strict=True))
        in_full, as_given = aim.figures(factors)
        attacks.append(Together(some.tolist(), true, in_full - aim.quiet, as_given - published))
    return attacks


def errors_of_several(
    aim: Target, changes: list[Together], noise: float, *, in_full: bool
) -> np.ndarray:
    """Return the errors of all that changed, solved for together by least squares.

    The attacker expects changes of the size that they have, and takes a figure to be off by
    `noise`: by its rounding, or by what the model leaves out.
    """
    errors = []
    for each in changes:
        response = aim.model[:, each.some]
        moved = each.in_full if in_full else each.as_given
        normal = response.T @ response / noise**2 + np.eye(LEAST_TRIALS) / SPREAD**2
        guess = np.linalg.solve(normal, response.T @ moved / noise**2)
        errors.extend(np.abs(np.expm1(np.clip(guess - each.true, -5, 5))))
    return np.array(errors)


def rows(db: Session) -> list[dict[str, object]]:
    """Return one row for each attack: the best that was reached, before and now."""
    aim = target(db)
    count = len(aim.hidden)
    moves = int((aim.model != 0).any(axis=0).sum())
    changes = changes_together(aim)
    solved = [errors_of_several(aim, changes, noise, in_full=True) for noise in TRUSTED]
    in_full = min(solved, key=lambda errors: float(np.median(errors)))
    as_given = errors_of_several(aim, changes, ROUNDING, in_full=False)
    nothing = np.abs(np.expm1(-np.concatenate([each.true for each in changes])))

    def in_words(errors: np.ndarray) -> str:
        within = np.mean(errors < 0.05)
        return f"median error {np.median(errors):.1%}, within 5 %: {within:.0%}"

    return [
        {
            "attack": "look before and after a hidden trial changes", "tried": f"{count} × +10 %",
            "before": f"{moves} of {count} move something",
            "now": f"{shown_alone(aim)} of {count} published",
        },
        {
            "attack": "solve for a trial that changes alone", "tried": f"{count} trials",
            "before": in_words(errors_of_one(aim)),
            "now": f"guess that nothing changed: {in_words(guesses_of_one(aim))}",
        },
        {
            "attack": f"solve for {LEAST_TRIALS} of {LEAST_SCHOOLS} schools published together",
            "tried": f"{len(in_full)} unknowns",
            "before": in_words(in_full), "now": in_words(as_given),
        },
        {
            "attack": "the same with figures in full, as if the rounding were undone",
            "tried": f"{len(in_full)} unknowns",
            "before": in_words(in_full), "now": in_words(in_full),
        },
        {
            "attack": "the same, guess that nothing changed", "tried": f"{len(nothing)} unknowns",
            "before": in_words(nothing), "now": in_words(nothing),
        },
    ]  # fmt: skip
