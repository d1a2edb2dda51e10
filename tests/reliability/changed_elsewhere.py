"""Two service processes on one PostgreSQL: both answer exactly, whichever of them was written to.

`python -m tests.reliability.changed_elsewhere --writes 300` draws writes to one process or the
other, in a season so large that answers are updated from write to write. After each write both
processes are asked for reports, the comparison and team pages with the key that wrote, and their
answers are compared with those of a service whose caches were emptied before each.
"""

import argparse
import math
import time
from collections import Counter
from dataclasses import dataclass, field, replace

from sqlalchemy import create_engine

from api.settings import Settings
from tests.bench.filled import SEASON, fill, public_id
from tests.reliability.places import fresh, print_table
from tests.reliability.two_hosts import start
from tests.support.answers import forget
from tests.support.databases import application, signer
from tests.support.makers import World, build_payload, created, make_school
from tests.support.season_histories import History

TRIALS, TEAMS = 5_200, 50  # above LARGE_SEASON, whatever is withdrawn
#: An updated fit and one from nothing differ by less than this in ln power, and so does what
#: follows from them; a tenth of an uncertainty, to which some figures are rounded, is more.
ALIKE = 2e-3
OF_THE_MOMENT = {"as_of", "calculated_at"}


def large_season(database_url):
    """Fill a migrated database with a season."""
    engine = create_engine(database_url)
    with engine.begin() as connection:
        fill(connection, TRIALS, TEAMS)
    engine.dispose()


def prepare(pair):
    """Register an event, a reference rotor and two schools in the drawn season."""
    key = pair.services[0].lead_key()
    lead = pair.signed(key)
    rotor = created(lead.post("/v1/turbines", json={"team_id": None, "name": "Rotor"}))
    build = created(lead.post("/v1/builds", json=build_payload(rotor["id"], assigned_power_w=0.06)))
    larch, birch = (make_school(lead, pair.signed, SEASON, each) for each in ("Larch", "Birch"))
    return World(SEASON, key, larch, birch, rotor["id"], build["id"])


def asked(world):
    """Return the addresses of what depends on a season's trials."""
    paths = [f"/v1/seasons/{SEASON}/{name}" for name in ("report", "comparison")]
    for organisation_id, team_id in (
        (world.larch.organisation_id, world.larch.team_id),
        (world.birch.organisation_id, world.birch.team_id),
        (public_id("org", 3), public_id("team", 17)),
    ):
        paths.append(f"/v1/organisations/{organisation_id}/report?season_id={SEASON}")
        paths += [f"/v1/teams/{team_id}/{name}" for name in ("report", "progress")]
    return paths


def differences(one, other, place="", most=ALIKE):
    """Yield the places where two answers differ; numbers may differ a little."""
    if isinstance(one, dict) and isinstance(other, dict):
        for name in sorted(one.keys() | other.keys()):
            if name not in OF_THE_MOMENT:
                yield from differences(one.get(name), other.get(name), f"{place}/{name}", most)
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for at, both in enumerate(zip(one, other, strict=True)):
            yield from differences(*both, f"{place}/{at}", most)
    elif isinstance(one, float) and isinstance(other, float):
        if not math.isclose(one, other, rel_tol=most, abs_tol=most):
            yield f"{place}: {one} and {other}"
    elif one != other:
        yield f"{place}: {str(one)[:60]} and {str(other)[:60]}"


@dataclass
class Comparison:
    """Writes to one process or the other, with the answers of both after each."""

    pair: object
    world: World
    fresh_client: object
    seed: int
    answers: int = 0
    writes: int = 0
    differing: Counter = field(default_factory=Counter)

    def __post_init__(self):
        """Draw all writes from one history, whichever process they go to."""
        self.history = History(self._at(0), self.seed)

    def _at(self, place):
        """Return the world with the lead's client of one process for all that is written."""
        lead = self.pair.signed(self.world.lead_key, place)
        larch, birch = (replace(each, coach=lead, reader=lead)
                        for each in (self.world.larch, self.world.birch))  # fmt: skip
        return replace(self.world, lead=lead, larch=larch, birch=birch)

    def step(self, number):
        """Write once to a process, and compare what both answer then."""
        there = self._at(self.history.draw.randrange(2))
        self.history.world = there
        schools = {each.organisation_id: each for each in (there.larch, there.birch)}
        self.history.trials = [(schools[school.organisation_id], trial_id)
                               for school, trial_id in self.history.trials]  # fmt: skip
        self.history.write()
        self.writes += 1
        forget(self.fresh_client)
        signed = signer(self.fresh_client)(self.world.lead_key)
        for path in asked(self.world):
            expected = signed.get(path).json()
            for place in (0, 1):
                self._compare(number, path, place, expected)

    def _compare(self, number, path, place, expected):
        answer = self.pair.signed(self.world.lead_key, place).get(path)
        assert answer.status_code == 200, answer.text
        self.answers += 1
        for difference in differences(expected, answer.json()):
            self.differing[f"write {number}, process {place}, {path}{difference}"] += 1


def run(folder, database_url, writes, seed=1):
    """Do some writes; return what was compared, and the seconds that it took."""
    large_season(database_url)
    pair = start(folder, database_url)
    try:
        world = prepare(pair)
        with application(Settings(database_url=database_url)) as fresh_client:
            comparison = Comparison(pair, world, fresh_client, seed)
            started = time.monotonic()
            for number in range(writes):
                comparison.step(number)
            return comparison, time.monotonic() - started
    finally:
        pair.close()


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--writes", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with fresh("postgresql") as (folder, url):
        comparison, seconds = run(folder, url, given.writes, given.seed)
    seen = {"writes": comparison.writes, "answers": comparison.answers,
            "differing": len(comparison.differing), "seconds": f"{seconds:.0f}"}  # fmt: skip
    print_table("Two processes over one server, a large season", [seen])
    for words in list(comparison.differing)[:20]:
        print(f"  {words}")
    raise SystemExit(bool(comparison.differing))


if __name__ == "__main__":
    main()
