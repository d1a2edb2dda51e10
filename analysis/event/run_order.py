"""Draw the order of an event's runs in blocks, with the reference rotor in between."""

import random
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

REFERENCE_EVERY = 6  # runs of teams between two of the reference rotor


@dataclass(frozen=True, slots=True)
class Slot:
    """One run: its attempt, its block and its team; None is the reference rotor."""

    position: int
    attempt: int
    block: int
    team: str | None


def draw_order(
    schools: dict[str, Sequence[str]],
    attempts: int,
    seed: int,
    reference_every: int = REFERENCE_EVERY,
) -> list[Slot]:
    """Return a drawn order in which each block has one team of each school.

    Parameters
    ----------
    schools : dict of str to sequence of str
        The teams of each school.
    attempts : int
        Number of runs of each team; every attempt is drawn again.
    seed : int
        The same seed gives the same order.
    reference_every : int, optional
        The reference rotor runs first, after this number of runs, and last.

    Returns
    -------
    list of Slot
        Every team once in each attempt. A randomised complete block design [1]_ if all schools
        have equally many teams: a drift affects all schools alike.

    References
    ----------
    .. [1] Fisher, R. A., "The Design of Experiments" (1935), as chapter 12 of "Mathematical
       Statistics" (ISBN 9781119385288, oreilly.com) describes it. Section not checked.

    Examples
    --------
    >>> order = draw_order({"A": ["a1", "a2"], "B": ["b1", "b2"]}, attempts=1, seed=7)
    >>> [slot.team for slot in order], [slot.block for slot in order]
    ([None, 'a1', 'b2', 'b1', 'a2', None], [0, 1, 1, 2, 2, 0])
    """
    source = random.Random(seed)
    runs = [
        (attempt, block, team)
        for attempt in range(1, attempts + 1)
        for block, teams in enumerate(_blocks(schools, source), start=1)
        for team in teams
    ]
    return _with_reference(runs, reference_every)


def _blocks(schools: dict[str, Sequence[str]], source: random.Random) -> list[list[str]]:
    """Return blocks with one team of each school, with teams and their order drawn at random.

    The blocks that contain a school with fewer teams than others are drawn as well.
    """
    blocks: dict[int, list[str]] = defaultdict(list)
    count = max(map(len, schools.values()), default=0)
    for school in sorted(schools):
        teams = sorted(schools[school])
        source.shuffle(teams)
        for block, team in zip(sorted(source.sample(range(count), len(teams))), teams, strict=True):
            blocks[block].append(team)
    for teams in blocks.values():
        source.shuffle(teams)
    return [blocks[block] for block in sorted(blocks)]


def _with_reference(runs: Sequence[tuple[int, int, str]], every: int) -> list[Slot]:
    order: list[tuple[int, int, str | None]] = []
    for at, run in enumerate(runs):
        if at % every == 0:
            order.append((run[0], 0, None))
        order.append(run)
    if runs:
        order.append((runs[-1][0], 0, None))
    return [Slot(position, *run) for position, run in enumerate(order, start=1)]
