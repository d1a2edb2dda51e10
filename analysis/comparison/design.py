"""Define the terms of the season model, and order its unknowns in a block for each bench.

Most terms of a season belong to one bench: sessions, and builds that never travel. Only the mean,
reference rotors, and builds that visit another bench are shared. The unknowns are ordered bench by
bench, with the shared ones at the end: the equations are then blocks along a diagonal with a
narrow border, and cost grows with the number of benches.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, IntArray
from analysis.numeric.groups import Groups, group_by

TERMS = ("team", "build", "bench", "session")
#: Errors that all trials of a team share, in standard deviations, each by the column of a trial's
#: ln power that one standard deviation of it moves.
ERRORS = {"wind_exponent": "u_wind_exponent", "density_exponent": "u_density_exponent"}
NOWHERE = -1
FREE = 3.0  # [-], standard deviation of a term that only the data decide


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviations of the terms of ln power; assumed until a region has its own.

    `residual` is the scatter of trials, as a multiple of their stated uncertainty.
    """

    mean: float = 10.0
    team: float = 0.35
    build: float = 0.35
    bench: float = 0.25
    session: float = 0.06
    interaction: float = 0.05
    reference: float = FREE
    residual: float = 1.0


@dataclass(frozen=True, slots=True)
class BenchCells:
    """How much (`values`) of which unknowns (`columns`) each cell of a bench has.

    The bench's own unknowns are numbered from 0, shared ones from -2 downwards: so a bench's cells
    read the same wherever its unknowns are among those of the season.
    """

    columns: IntArray
    values: FloatArray


class Model:
    """The terms of each trial, and their positions among the unknowns.

    Trials of one build in one session have the same terms: they form a cell. A build's own effect
    and its interaction with its only bench cannot be separated, so they are one unknown there; a
    build that was tested at several benches has an unknown for each.

    An exponent that is wrong is wrong in all trials of a team, or of a reference rotor, by as much
    as their winds and air differ from the reference. It does not average out as scatter does, so it
    is an unknown of its own, with a standard deviation of 1.
    """

    def __init__(self, trials: Mapping[str, npt.ArrayLike]) -> None:
        self.terms = {name: group_by(np.asarray(trials[f"{name}_id"])) for name in TERMS}
        is_reference = np.asarray(trials["team_id"]) == ""
        self.cells, first = self._cells()
        self._cell_codes = {name: each.codes[first] for name, each in self.terms.items()}
        has_team = ~is_reference[first]
        build = self._cell_codes["build"]
        self.team_of_build = np.full(self.builds.size, NOWHERE, dtype=np.int64)
        self.team_of_build[build[has_team]] = self._cell_codes["team"][has_team]
        self.is_reference = np.zeros(self.builds.size, dtype=bool)
        self.is_reference[build[~has_team]] = True
        self.errors = {name: column for name, column in ERRORS.items() if column in trials}
        self._cell_codes |= dict.fromkeys(self.errors, self._owner(has_team))
        self._lay_out(has_team)
        columns, values = self._columns(has_team), self._values(trials, first)
        self.design = self.rows(columns, values)
        self._own_columns, self._cell_values = self._numbered_by_bench(columns), values

    @property
    def builds(self) -> Groups:
        """Return the builds."""
        return self.terms["build"]

    def _cells(self) -> tuple[Groups, IntArray]:
        """Return the cells of trials with the same terms, and the first trial of each cell.

        Those of one bench follow each other.
        """
        key = np.zeros(len(self.terms["team"].codes), dtype=np.int64)
        for name in ("bench", *(each for each in TERMS if each != "bench")):
            key = key * self.terms[name].size + self.terms[name].codes
        labels, first, codes = np.unique(key, return_index=True, return_inverse=True)
        return Groups(labels, codes), first

    def _owner(self, has_team: npt.NDArray[np.bool_]) -> IntArray:
        """Return a number for each cell's team, or for its reference rotor."""
        teams = self.terms["team"].size
        owner = np.where(has_team, self._cell_codes["team"], teams + self._cell_codes["build"])
        numbers: IntArray = np.unique(owner, return_inverse=True)[1]
        return numbers

    def _lay_out(self, has_team: npt.NDArray[np.bool_]) -> None:
        """Give each unknown a position: bench by bench, then the shared ones."""
        benches = self.terms["bench"].size
        home = {name: self._home(name, has_team if name == "team" else ...) for name in TERMS}
        bench, build = self._cell_codes["bench"], self._cell_codes["build"]
        travels = home["build"] == NOWHERE
        self.pairs = group_by((build * benches + bench)[travels[build]])
        home["pair"] = self.pairs.labels % benches
        home |= {name: self._home(name, ...) for name in self.errors}
        homes = np.concatenate(list(home.values()))
        at_home = np.flatnonzero(homes != NOWHERE)
        order = at_home[np.argsort(homes[at_home], kind="stable")]
        self.local = len(order)
        self.ends = np.cumsum(np.bincount(homes[at_home], minlength=benches))
        shared = np.flatnonzero(homes == NOWHERE)
        self.size = self.local + 1 + len(shared)  # the mean is the first shared unknown
        position = np.empty(len(homes), dtype=np.int64)
        position[order] = np.arange(self.local)
        position[shared] = self.local + 1 + np.arange(len(shared))
        cuts = np.cumsum([len(each) for each in home.values()])[:-1]
        self.position = dict(zip(home, np.split(position, cuts), strict=True))

    def _home(self, name: str, rows: Any) -> IntArray:
        """Return the only bench of each term of one kind, or `NOWHERE` if it has several."""
        codes, bench = self._cell_codes[name][rows], self._cell_codes["bench"][rows]
        size = self.terms[name].size if name in self.terms else int(codes.max()) + 1
        lowest = np.full(size, self.terms["bench"].size)
        highest = np.full(size, NOWHERE)
        np.minimum.at(lowest, codes, bench)
        np.maximum.at(highest, codes, bench)
        return np.where(lowest == highest, highest, NOWHERE)

    def _columns(self, has_team: npt.NDArray[np.bool_]) -> IntArray:
        """Return the unknowns that add up to each cell; a reference rotor has no team."""
        codes = self._cell_codes
        return np.column_stack(
            [
                np.full(len(has_team), self.local),
                np.where(has_team, self.position["team"][codes["team"]], NOWHERE),
                *(self.position[name][codes[name]] for name in TERMS[1:]),
                self.pair_at(codes["build"], codes["bench"]),
                *(self.position[name][codes[name]] for name in self.errors),
            ]
        )

    def _values(self, trials: Mapping[str, npt.ArrayLike], first: IntArray) -> FloatArray:
        """Return how much of each of its unknowns a cell has.

        Of an error it is the mean over all trials of its team at its bench. From session to session
        a wind that was misread moves both the power and the coefficient, which would pass for a
        wrong exponent.
        """
        ones = np.ones((self.cells.size, len(TERMS) + 2))
        if not self.errors:
            return ones
        owner = self._cell_codes[next(iter(self.errors))]
        at_bench = owner * self.terms["bench"].size + self._cell_codes["bench"]
        groups = group_by(at_bench[self.cells.codes])
        of_cell = groups.codes[first]
        moved = [
            groups.mean(np.asarray(trials[column], dtype=np.float64))[of_cell]
            for column in self.errors.values()
        ]
        return np.column_stack([ones, *moved])

    def _numbered_by_bench(self, columns: IntArray) -> IntArray:
        """Return the unknowns of each cell as `BenchCells` numbers them."""
        starts = np.concatenate([[0], self.ends[:-1]])[self._cell_codes["bench"]]
        own = np.where(columns == NOWHERE, NOWHERE, columns - starts[:, None])
        return np.where(columns >= self.local, NOWHERE - 1 - (columns - self.local), own)

    @cached_property
    def bench_parts(self) -> list[tuple[BenchCells, slice, slice]]:
        """Return each bench's cells, and the places of these and of its own unknowns."""
        cuts = np.searchsorted(self._cell_codes["bench"], np.arange(len(self.ends) + 1)).tolist()
        ends = [0, *self.ends.tolist()]
        parts = []
        for at in range(len(self.ends)):
            rows = slice(cuts[at], cuts[at + 1])
            cells = BenchCells(self._own_columns[rows], self._cell_values[rows])
            parts.append((cells, rows, slice(ends[at], ends[at + 1])))
        return parts

    @property
    def bench_of_cell(self) -> IntArray:
        """Return the position of each cell's bench."""
        return self._cell_codes["bench"]

    @property
    def build_of_cell(self) -> IntArray:
        """Return the position of each cell's build."""
        return self._cell_codes["build"]

    @property
    def session_of_cell(self) -> IntArray:
        """Return the position of each cell's session."""
        return self._cell_codes["session"]

    @cached_property
    def shared_labels(self) -> list[list[str]]:
        """Return the labels of the terms that several benches share, which the border consists of.

        Errors are shared where their team or reference rotor is, and pairs never.
        """
        return [
            self.terms[name].labels[self.position[name] >= self.local].tolist() for name in TERMS
        ]

    def rows(self, columns: IntArray, values: FloatArray | None = None) -> Any:
        """Return sparse rows with a one or a value in each given column, except at `NOWHERE`."""
        from scipy.sparse import csr_array

        is_there = columns != NOWHERE
        ends = np.concatenate([[0], np.cumsum(is_there.sum(axis=1))])
        entries = np.ones(ends[-1]) if values is None else values[is_there]
        shape = len(columns), self.size
        return csr_array((entries, columns[is_there], ends), shape=shape)

    def pair_at(self, build: IntArray, bench: IntArray) -> IntArray:
        """Return the unknowns of pairs of travelling build and bench; `NOWHERE` if never tested."""
        if not self.pairs.size:
            return np.full(len(build), NOWHERE)
        key = build * self.terms["bench"].size + bench
        at = np.minimum(np.searchsorted(self.pairs.labels, key), self.pairs.size - 1)
        return np.where(self.pairs.labels[at] == key, self.position["pair"][at], NOWHERE)

    def is_local(self, builds: IntArray) -> npt.NDArray[np.bool_]:
        """Return a mask of the builds that were tested at one bench only."""
        local: npt.NDArray[np.bool_] = self.position["build"][builds] < self.local
        return local

    def precision(self, spread: Spread) -> FloatArray:
        """Return the prior precision of each unknown, which is almost 0 for a reference rotor."""
        every = np.arange(self.builds.size)
        build = self.build_variance(every, spread)
        build += np.where(self.is_local(every), spread.interaction**2, 0.0)
        variance = np.empty(self.size)
        variance[self.local] = spread.mean**2
        variance[self.position["build"]] = build
        variance[self.position["pair"]] = spread.interaction**2
        for name in ("team", "bench", "session"):
            variance[self.position[name]] = getattr(spread, name) ** 2
        for name in self.errors:
            variance[self.position[name]] = 1.0
        return 1 / variance

    def build_variance(self, builds: IntArray, spread: Spread) -> FloatArray:
        """Return the prior variance of builds' own effects."""
        return np.where(self.is_reference[builds], spread.reference**2, spread.build**2)
