"""Summarise a season's trials: typical power of builds and sessions, and each team's season.

The largest trial of a team is shown as "best seen" and is not used in any calculation, because the
largest of many noisy numbers is too large.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.columns import Columns, FloatArray, IntArray, TextArray
from analysis.numeric.groups import Groups, are_among, group_by, pair_up
from analysis.numeric.lazy import LazySequence, first_words
from analysis.season.estimates import Change, Figure, Figures, compare, places, typical_figures
from analysis.trials.results import PowerResults

RECORD = "record"
ACCEPTED = "accepted"


@dataclass(frozen=True, slots=True)
class BestSeen:
    """The largest trial of a team: the largest of `trials` noisy numbers, so probably too large."""

    normalised_power_w: float
    u_total: float
    interval_w: tuple[float, float]
    trial_id: str
    build_id: str
    trials: int


@dataclass(frozen=True, slots=True)
class TeamSeason:
    """One team's season, from the trials that count; `sessions` oldest first."""

    team_id: str
    current: Figure
    first_build: Figure
    sessions: tuple[Figure, ...]
    best_seen: BestSeen
    change: Change | None


class TeamSeasons(LazySequence[TeamSeason]):
    """The seasons of all teams as columns, in the order of team ids; each is built on access.

    `builds` and `sessions` have the figures of every team, one team after the other, each
    oldest first.
    """

    def __init__(
        self,
        teams: Groups,
        builds: "Ordered",
        sessions: "Ordered",
        best: tuple[Columns, PowerResults],
    ) -> None:
        self.team_ids, self._counted = teams.labels, teams.count()
        self.builds, self.sessions = builds, sessions
        self._best_trials, self._best_results = best

    def __len__(self) -> int:
        return len(self.team_ids)

    def item(self, at: int) -> TeamSeason:
        """Return one team's season."""
        builds = self.builds.of(at)
        return TeamSeason(
            team_id=str(self.team_ids[at]),
            current=builds[-1],
            first_build=builds[0],
            sessions=tuple(self.sessions.of(at)),
            best_seen=self._best_seen(at),
            change=compare(builds[-1], builds[0]) if len(builds) > 1 else None,
        )

    def current(self, at: int) -> Figure:
        """Return the figure of a team's current build."""
        return self.builds.figures[int(self.builds.order[self.builds.ends[at] - 1])]

    @property
    def current_build_ids(self) -> TextArray:
        """Return the newest build of each team that counts."""
        last = self.builds.order[self.builds.ends - 1]
        ids: TextArray = self.builds.figures.labels[last]
        return ids

    @property
    def best_seen_w(self) -> FloatArray:
        """Return the largest trial of each team, in watts."""
        best: FloatArray = self._best_results.normalised_power_w
        return best

    def session_ids(self, at: int) -> list[str]:
        """Return the sessions with a counted trial of a team."""
        order = self.sessions.of_team(at)
        ids: list[str] = self.sessions.figures.labels[order].tolist()
        return ids

    def _best_seen(self, at: int) -> BestSeen:
        results = self._best_results
        return BestSeen(
            normalised_power_w=float(results.normalised_power_w[at]),
            u_total=float(results.u_total[at]),
            interval_w=(float(results.interval_low_w[at]), float(results.interval_high_w[at])),
            trial_id=str(self._best_trials["trial_id"][at]),
            build_id=str(self._best_trials["build_id"][at]),
            trials=int(self._counted[at]),
        )


@dataclass(frozen=True, slots=True)
class Ordered:
    """Figures grouped by team: team i has the figures `order[ends[i - 1] : ends[i]]`."""

    figures: Figures
    order: IntArray
    ends: IntArray

    def of(self, team: int) -> list[Figure]:
        """Return the figures of one team, first to last."""
        return [self.figures.item(at) for at in self.of_team(team).tolist()]

    def of_team(self, team: int) -> IntArray:
        """Return the places of a team's figures, first to last."""
        start = int(self.ends[team - 1]) if team else 0
        return self.order[start : int(self.ends[team])]


def counts_for_season(trials: Columns, results: PowerResults) -> npt.NDArray[np.bool_]:
    """Return a mask of the trials that count: accepted record trials that could be normalised.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        Needs `kind` and `state`.
    results : PowerResults
        Their results.

    Returns
    -------
    array of bool, shape (n,)
        True where a trial counts.
    """
    counted: npt.NDArray[np.bool_] = why_left_out(trials, results) == ""
    return counted


def are_usable(trials: Columns, results: PowerResults) -> npt.NDArray[np.bool_]:
    """Return a mask of the trials of any kind that findings may use: accepted and normalised.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        Needs `state`.
    results : PowerResults
        Their results.

    Returns
    -------
    array of bool, shape (n,)
        True where a trial may be used.
    """
    usable: npt.NDArray[np.bool_] = (np.asarray(trials["state"]) == ACCEPTED) & np.isfinite(
        results.normalised_power_w
    )
    return usable


def summarise_teams(trials: Columns, results: PowerResults) -> TeamSeasons:
    """Return the season of every team that has a trial that counts.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `kind`, `state`, `trial_id`, `team_id`, `turbine_id`, `build_id`, `session_id`, `bench_id`,
        `build_number` and `started_at` (seconds).
    results : PowerResults
        Their results.

    Returns
    -------
    TeamSeasons
        In the order of team ids. The current build is the newest one that counts.
    """
    where = places(counts_for_season(trials, results), trials)
    positions, session_of = np.flatnonzero(where.counted), where.sessions
    build_of = group_by(np.asarray(trials["build_id"])[positions])
    first = positions[build_of.one_of_each()]
    teams = group_by(np.asarray(trials["team_id"])[first])
    by_team = Groups(teams.labels, teams.codes[build_of.codes])
    started: FloatArray = np.asarray(trials["started_at"], dtype=np.float64)[positions]
    # Builds of a turbine are in the order of their numbers, whenever they were tested; a team's
    # turbines are in the order of their first tests.
    turbines = group_by(np.asarray(trials["turbine_id"])[first])
    first_of_turbine = turbines.smallest(build_of.smallest(started))[turbines.codes]
    number: FloatArray = np.asarray(trials["build_number"], dtype=np.float64)[first]
    builds = _ordered(
        typical_figures(build_of, where, results),
        teams.codes,
        first_of_turbine,
        number,
    )
    pairs = pair_up(by_team, session_of)
    team_sessions = Groups(session_of.labels[pairs.other], pairs.codes)
    sessions = _ordered(
        typical_figures(team_sessions, where, results), pairs.one, team_sessions.smallest(started)
    )
    best = positions[by_team.first_largest(results.normalised_power_w[positions])]
    of_best = {name: np.asarray(trials[name])[best] for name in ("trial_id", "build_id")}
    return TeamSeasons(by_team, builds, sessions, (of_best, results.only(best)))


def _ordered(figures: Figures, team: IntArray, *keys: FloatArray) -> Ordered:
    """Return the figures grouped by team, each team's sorted by keys."""
    order = np.lexsort((*keys[::-1], team))
    return Ordered(figures, order, np.cumsum(np.bincount(team)))


#: Why a stored trial does not count.
LEFT_OUT = ("withdrawn", "held", "other_kind", "out_of_range", "not_normalised")


def why_left_out(trials: Columns, results: PowerResults) -> TextArray:
    """Return why each trial does not count.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        Needs `kind` and `state`.
    results : PowerResults
        Their results.

    Returns
    -------
    array of str, shape (n,)
        A code of `LEFT_OUT`, empty where the trial counts.
    """
    state, kind = np.asarray(trials["state"]), np.asarray(trials["kind"])
    return first_words(
        [
            are_among(state, {"withdrawn"}),
            are_among(state, {"held"}),
            ~are_among(kind, {RECORD}),
            results.is_out_of_range,
            ~np.isfinite(results.normalised_power_w),
        ],
        LEFT_OUT,
    )
