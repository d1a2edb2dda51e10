"""What the checks look at: trials of whole benches with their results."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.checks.rules import RULES, Rule, Severity
from analysis.columns import Columns, FloatArray, numbers
from analysis.numeric.groups import are_among, group_by
from analysis.trials.results import TrialResults

Mask = npt.NDArray[np.bool_]
Fact = float | str | list[float]

#: A trial's or a session's id, and a rule's name.
Place = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule that a trial or its session breaks; `trial` is its position in the columns given.

    `facts` are the numbers and words that a sentence about it needs, and `variant` tells which of a
    rule's sentences it is. `fix` names the thing and the values that would correct it, if that is
    known; a fix that physics rules out is withdrawn. `seen` is what was seen of the thing itself:
    an answer holds as long as that stays.
    """

    trial: int
    rule: Rule
    facts: dict[str, Fact]
    fix: dict[str, Any] | None
    seen: str
    variant: str = ""
    is_fix_withdrawn: bool = False


@dataclass(frozen=True)
class View:
    """Trials to check, whole benches at a time, in the order of their ids.

    `confirmed` holds what somebody answered with "it is right": for a trial's or session's id and a
    rule's name, what was seen then, or nothing where that was not noted.
    """

    trials: Columns
    runs: Columns
    results: TrialResults
    now: float = math.inf
    confirmed: Mapping[Place, str | None] = field(default_factory=dict)
    _columns: dict[str, FloatArray] = field(default_factory=dict)
    _texts: dict[str, npt.NDArray[Any]] = field(default_factory=dict)
    _found: dict[Any, list[Finding]] = field(default_factory=dict)

    def number(self, name: str) -> FloatArray:
        """Return a column as numbers."""
        if name not in self._columns:
            self._columns[name] = numbers(self.trials[name])
        return self._columns[name]

    def text(self, name: str) -> npt.NDArray[Any]:
        """Return a column as words."""
        if name not in self._texts:
            self._texts[name] = np.asarray(self.trials[name]).astype(str)
        return self._texts[name]

    def found_by(self, check: Callable[["View"], Iterable[Finding]]) -> list[Finding]:
        """Return what a check finds here, looked for once: some checks ask what others found."""
        if check not in self._found:
            self._found[check] = list(check(self))
        return self._found[check]

    def kind(self, *kinds: str) -> Mask:
        """Return which trials are of some kinds."""
        return are_among(self.text("kind"), kinds)

    def place(self, finding: Finding) -> Place:
        """Return which trial or session a finding is about, and its rule."""
        about = "trial_id" if finding.rule.scope == "trial" else "session_id"
        return str(self.trials[about][finding.trial]), finding.rule.name

    def is_confirmed(self, finding: Finding) -> bool:
        """Tell whether somebody answered that it is right, and the same is seen now."""
        place = self.place(finding)
        return place in self.confirmed and self.confirmed[place] in (None, finding.seen)

    def holding(self, held: Mask) -> "View":
        """Return the same trials, of which those wait for an answer and the others count."""
        now = np.where(held, "held", "accepted")
        states = np.where(self.text("state") == "withdrawn", "withdrawn", now)
        trials = dict(self.trials) | {"state": states}
        return replace(self, trials=trials, _texts=self._texts | {"state": states}, _found={})

    def voltages_of(self, trial: int) -> list[float]:
        """Return the readings of a trial's runs; of a logged series the root of its mean square."""
        rows = np.flatnonzero(self.run_numbers == trial)
        read = np.asarray(self.runs["voltage_v"], dtype=float)[rows]
        logged = np.sqrt(np.asarray(self.runs["mean_square_voltage_v2"], dtype=float)[rows])
        found: list[float] = np.where(np.isnan(read), logged, read).tolist()
        return found

    @cached_property
    def first_of_session(self) -> Mask:
        """Return which trials stand for their session: the first of each."""
        sessions = group_by(self.text("session_id"))
        mask = np.zeros(len(sessions.codes), dtype=bool)
        mask[sessions.one_of_each()] = True
        return mask

    @cached_property
    def build_at_bench(self) -> npt.NDArray[np.int64]:
        """Return a number for each trial that is its build's at its bench."""
        builds, benches = group_by(self.text("build_id")), group_by(self.text("bench_id"))
        return builds.codes * benches.size + benches.codes

    @cached_property
    def in_time(self) -> npt.NDArray[np.int64]:
        """Return the positions of trials in the order they were run."""
        return np.lexsort([self.text("trial_id"), self.number("started_at")])

    @cached_property
    def run_numbers(self) -> npt.NDArray[np.int64]:
        """Return the position of each run's trial."""
        return np.asarray(self.runs["trial"], dtype=np.int64)


def findings(
    where: Mask,
    name: str,
    severity: Severity,
    **facts: Any,
) -> Iterator[Finding]:
    """Yield what a rule finds where a mask says so, with what was seen there.

    Parameters
    ----------
    where : array of bool, shape (n,)
        Trials that break the rule.
    name, severity : str
        Which rule.
    **facts : array, list or number
        What its sentence needs, one value per trial or one for all; `fix` and `variant` likewise,
        and `fix` may be a function of the trial's position.

    Yields
    ------
    Finding
        One per trial.
    """
    fixes = facts.pop("fix", None)
    for position in np.flatnonzero(where).tolist():
        seen = {key: _at(value, position) for key, value in facts.items()}
        fix = None if fixes is None else _at(fixes, position)
        yield one(position, name, severity, fix=fix, **seen)


def one(
    trial: int,
    name: str,
    severity: Severity,
    *,
    fix: dict[str, Any] | None = None,
    variant: str = "",
    **facts: Any,
) -> Finding:
    """Return what a rule finds in one trial.

    Parameters
    ----------
    trial : int
        Its position.
    name, severity : str
        Which rule.
    fix : dict, optional
        What would correct it.
    variant : str, optional
        Which of the rule's sentences it is.
    **facts : str, number or list of numbers
        What its sentence needs; `value`, else `words` or the variant, is what an answer is about.

    Returns
    -------
    Finding
        With numbers of six digits, so that rounding alone makes no other finding.

    Examples
    --------
    >>> found = one(0, "cold_fan", "warn", value=2.0)
    >>> found.facts, found.seen
    ({'value': 2.0}, '2')
    """
    value = facts.get("value", facts.get("words", variant))
    seen = value if isinstance(value, str) else f"{value:.3g}"
    plain = {key: _plain(each) for key, each in facts.items()}
    return Finding(trial, RULES[name, severity], plain, fix, seen, variant)


def _plain(value: Any) -> Fact:
    if isinstance(value, list):
        return [float(f"{each:.6g}") for each in value]
    return value if isinstance(value, str) else float(f"{value:.6g}")


def _at(value: Any, position: int) -> Any:
    if callable(value):
        return value(position)
    return value if isinstance(value, str | int | float | dict) else value[position]
