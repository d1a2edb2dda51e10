"""Check a bench's newest trials without all of its older ones, with the same findings.

A check looks back only, and not far: to trials of the same build, the latest wind speeds, the
latest run of the reference rotor. An older trial keeps what earlier checks found in it, except for
the few rules about a build that a newer trial of it can break.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.checks.all_checks import CHECKS, LATER, findings_by, held_trials, sorted_findings
from analysis.checks.earlier_trials import REMEMBERED, VOLTAGE_RULES, WINDS_REMEMBERED
from analysis.checks.reference_rotor import DAYS
from analysis.checks.view import Finding, Mask, Place, View
from analysis.columns import FloatArray, TextArray

#: Kinds whose newest trial can change findings of many older ones: the reference rotor's usual
#: power judges sessions, and a wind sweep normalises its build's trials.
NEEDS_ALL = ("reference", "wind")
#: Rules that a newer trial of a build can break or keep in an older one of it or of the next build.
MOVED_BY_NEWER = ("jump", "edge_optimum")
#: Rules of a session that only trials of a kind in `NEEDS_ALL` can change.
ONLY_BY_REFERENCE = ("reference_off",)
#: Rules with a usual value that starts again at a confirmed finding.
USUAL_VALUES = ("wind_unit_slip", *VOLTAGE_RULES)
#: Rules that break once a build, in the first trial that breaks them.
ONCE_A_BUILD = ("default_exponent", "mixed_change", "personal_data", "rotor_wider_than_jet",
                "tunnel_blockage")  # fmt: skip
#: How far the checks of a trial look back: this many trials of the same build and load, this many
#: wind speeds, these days for a reference run.
LATEST_OF_A_SETTING, LATEST_WINDS, REFERENCE_DAYS = REMEMBERED, WINDS_REMEMBERED, DAYS


@dataclass(frozen=True, slots=True)
class NewestChecked:
    """What a check of the newest trials decides.

    `findings` are sorted gravest first, `held` is a mask of all trials of the view, and `decides`
    tells whether the check decides about a place: a place without a finding there has none now.
    """

    findings: Sequence[Finding]
    held: Mask
    decides: Callable[[Place], bool]


def check_newest(view: View, *, has_complete_builds: bool = True) -> NewestChecked:
    """Return what the checks find in the newest trials, and in older ones because of them.

    Parameters
    ----------
    view : View
        Trials of one bench. Those that are not `settled` are later, and have larger ids, than all
        others of the bench, and none has a kind in `NEEDS_ALL`. The settled ones contain: all of
        the same builds and of the builds before and after them, the first of each session, the
        latest `LATEST_WINDS` with a wind speed that is not suspect and all after these, and
        each reference run of the last `REFERENCE_DAYS`. No finding of `USUAL_VALUES` is confirmed.
    has_complete_builds : bool
        False if, of the same builds, the settled trials contain only these: a record that counts,
        the first, those with a finding of `ONCE_A_BUILD`, those of the same sessions, and, of the
        same load, the latest `LATEST_OF_A_SETTING` that are not suspect and all after these. Then
        the next builds have no trial at the bench, and no new trial belongs to a pitch sweep.

    Returns
    -------
    NewestChecked
        The same as of a check of the complete bench, as far as it `decides`.
    """
    decided = _decided(view, has_complete_builds=has_complete_builds)
    first = [each for each in findings_by(view, CHECKS) if decided(view.place(each))]
    held = np.where(view.is_settled, view.text("state") == "held", _held_now(view, first))
    later = findings_by(view.holding(held), LATER)
    moved = [each for each in later if decided(view.place(each))]
    return NewestChecked(sorted_findings(view, (*first, *moved)), held, decided)


def _held_now(view: View, findings: Sequence[Finding]) -> Mask:
    """Return a mask of the trials held by these findings, or by an earlier one of their session."""
    earlier = [
        session
        for (session, rule), severity in view.open_findings.items()
        if severity == "hold" and rule in ONLY_BY_REFERENCE
    ]
    return held_trials(view, findings) | np.isin(view.text("session_id"), earlier)


def _decided(view: View, *, has_complete_builds: bool) -> Callable[[Place], bool]:
    """Return a function that tells whether the newest trials decide about a place."""
    is_new = ~view.is_settled
    new, sessions = (set(view.text(name)[is_new]) for name in ("trial_id", "session_id"))
    may_move = view.is_settled & _of_moved_builds(view, is_new) & has_complete_builds
    older = set(view.text("trial_id")[may_move])

    def is_decided(place: Place) -> bool:
        about, rule = place
        return (
            about in new
            or (about in sessions and rule not in ONLY_BY_REFERENCE)
            or (about in older and rule in MOVED_BY_NEWER)
        )

    return is_decided


def _of_moved_builds(view: View, is_new: Mask) -> Mask:
    """Return a mask of the trials of the new trials' builds, and of the builds after these."""
    turbines, numbers = view.text("turbine_id"), view.number("build_number")
    moved = {
        (turbine, number + later)
        for turbine, number in _pairs(turbines[is_new], numbers[is_new])
        for later in (0, 1)
    }
    return np.array([pair in moved for pair in _pairs(turbines, numbers)], dtype=bool)


def _pairs(turbines: TextArray, numbers: FloatArray) -> list[tuple[str, float]]:
    return list(zip(turbines.tolist(), numbers.tolist(), strict=True))
