"""Define the input of data checks, trials of complete benches with results, and their findings."""

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

    `facts` are the numbers and words of its sentence, and `variant` selects one of the rule's
    sentences. `fix` names the thing and the values that would correct it, if they are known; a
    physically impossible fix is withdrawn. `seen` is the value that the finding is about: an answer
    is valid as long as it does not change.
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
    """Trials to check, of complete benches, in the order of their ids.

    `confirmed` has the findings that somebody confirmed: for a trial's or session's id and a rule's
    name, the value seen then, or None if that was not recorded. If only the newest trials are to be
    checked, `settled` marks the others, and `open_findings` has the severity of the findings that
    earlier checks made about them and their sessions, and that nobody confirmed.
    """

    trials: Columns
    runs: Columns
    results: TrialResults
    now: float = math.inf
    confirmed: Mapping[Place, str | None] = field(default_factory=dict)
    settled: Mask | None = None
    open_findings: Mapping[Place, Severity] = field(default_factory=dict)
    _columns: dict[str, FloatArray] = field(default_factory=dict)
    _texts: dict[str, npt.NDArray[Any]] = field(default_factory=dict)
    _findings: dict[Any, list[Finding]] = field(default_factory=dict)

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

    def findings_of(self, check: Callable[["View"], Iterable[Finding]]) -> list[Finding]:
        """Return the findings of a check, computed once: some checks need those of others."""
        if check not in self._findings:
            self._findings[check] = list(check(self))
        return self._findings[check]

    def kind(self, *kinds: str) -> Mask:
        """Return a mask of the trials of these kinds."""
        return are_among(self.text("kind"), kinds)

    def place(self, finding: Finding) -> Place:
        """Return the id of the trial or session that a finding is about, and its rule's name."""
        about = "trial_id" if finding.rule.scope == "trial" else "session_id"
        return str(self.trials[about][finding.trial]), finding.rule.name

    def is_confirmed(self, finding: Finding) -> bool:
        """Tell whether somebody confirmed the finding, and the value has not changed since."""
        place = self.place(finding)
        return place in self.confirmed and self.confirmed[place] in (None, finding.seen)

    @cached_property
    def is_settled(self) -> Mask:
        """Return a mask of the trials that earlier checks have decided about."""
        return np.zeros(len(self.in_time), dtype=bool) if self.settled is None else self.settled

    def has_open_finding(self, *rules: str) -> Mask:
        """Return a mask of the trials in which earlier checks found one of these rules broken."""
        odd = [trial for trial, rule in self.open_findings if rule in rules]
        return self.is_settled & np.isin(self.text("trial_id"), odd)

    def holding(self, held: Mask) -> "View":
        """Return the same trials, with those in the mask held and the others accepted."""
        now = np.where(held, "held", "accepted")
        states = np.where(self.text("state") == "withdrawn", "withdrawn", now)
        trials = dict(self.trials) | {"state": states}
        return replace(self, trials=trials, _texts=self._texts | {"state": states}, _findings={})

    def voltages_of(self, trial: int) -> list[float]:
        """Return the voltages of a trial's runs; for a logged series its root mean square."""
        rows = np.flatnonzero(self.run_numbers == trial)
        read = np.asarray(self.runs["voltage_v"], dtype=float)[rows]
        logged = np.sqrt(np.asarray(self.runs["mean_square_voltage_v2"], dtype=float)[rows])
        voltages: list[float] = np.where(np.isnan(read), logged, read).tolist()
        return voltages

    @cached_property
    def first_of_session(self) -> Mask:
        """Return a mask of the first trial of each session, which represents the session."""
        sessions = group_by(self.text("session_id"))
        mask = np.zeros(len(sessions.codes), dtype=bool)
        mask[sessions.one_of_each()] = True
        return mask

    @cached_property
    def build_at_bench(self) -> npt.NDArray[np.int64]:
        """Return a number for each trial that is unique to its build and bench."""
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
    """Yield a finding of a rule for each trial in a mask.

    Parameters
    ----------
    where : array of bool, shape (n,)
        Mask of the trials that break the rule.
    name, severity : str
        Name and severity of the rule.
    **facts : array, list or number
        Values of its sentence, one per trial or one for all; `fix` and `variant` likewise, and
        `fix` may be a function of the trial's position.

    Yields
    ------
    Finding
        One per trial in the mask.
    """
    fixes = facts.pop("fix", None)
    for position in np.flatnonzero(where).tolist():
        seen = {key: _at(value, position) for key, value in facts.items()}
        fix = None if fixes is None else _at(fixes, position)
        yield make_finding(position, name, severity, fix=fix, **seen)


def make_finding(
    trial: int,
    name: str,
    severity: Severity,
    *,
    fix: dict[str, Any] | None = None,
    variant: str = "",
    **facts: Any,
) -> Finding:
    """Return a finding of a rule in one trial.

    Parameters
    ----------
    trial : int
        Its position.
    name, severity : str
        Name and severity of the rule.
    fix : dict, optional
        Values that would correct it.
    variant : str, optional
        Which of the rule's sentences describes it.
    **facts : str, number or list of numbers
        Values of its sentence; an answer is about `value`, else `words` or the variant.

    Returns
    -------
    Finding
        With numbers of six digits, so that rounding does not make a different finding.

    Examples
    --------
    >>> finding = make_finding(0, "cold_fan", "warn", value=2.0)
    >>> finding.facts, finding.seen
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
