"""What the checks look at: trials of whole benches with their results."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.rules import RULES, Rule, Severity
from analysis.trial_inputs import Columns, numbers
from analysis.trial_result import TrialResults

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule that a trial or its session breaks; `trial` is its position in the columns given.

    `fix` names the thing and the values that would put it right, if that is known.
    """

    trial: int
    rule: Rule
    message: str
    fix: dict[str, Any] | None = None


@dataclass(frozen=True)
class View:
    """Trials to check, whole benches at a time, in the order of their ids."""

    trials: Columns
    runs: Columns
    results: TrialResults
    now: float = math.inf
    _columns: dict[str, FloatArray] = field(default_factory=dict)

    def number(self, name: str) -> FloatArray:
        """Return a column as numbers."""
        if name not in self._columns:
            self._columns[name] = numbers(self.trials[name])
        return self._columns[name]

    def text(self, name: str) -> npt.NDArray[Any]:
        """Return a column as words."""
        return np.asarray(self.trials[name]).astype(str)

    def kind(self, *kinds: str) -> Mask:
        """Return which trials are of some kinds."""
        return np.isin(self.text("kind"), kinds)

    @cached_property
    def first_of_session(self) -> Mask:
        """Return which trials stand for their session: the first of each."""
        _, first = np.unique(self.text("session_id"), return_index=True)
        mask = np.zeros(len(self.text("session_id")), dtype=bool)
        mask[first] = True
        return mask

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
    **told: Any,
) -> Iterator[Finding]:
    """Yield what a rule finds where a mask says so, with what was seen there.

    Parameters
    ----------
    where : array of bool, shape (n,)
        Trials that break the rule.
    name, severity : str
        Which rule.
    **told : array, list or number
        What fills the message's braces, one value per trial or one for all; `fix` is kept apart.

    Yields
    ------
    Finding
        One per trial.
    """
    rule = RULES[name, severity]
    fixes = told.pop("fix", None)
    for position in np.flatnonzero(where).tolist():
        seen = {key: _at(value, position) for key, value in told.items()}
        fix = None if fixes is None else _at(fixes, position)
        yield Finding(position, rule, rule.message.format(**seen), fix)


def _at(value: Any, position: int) -> Any:
    return value if isinstance(value, str | int | float | dict) else value[position]
