"""Compare the stored checks of drawn histories, after each write, with checks of all trials.

Usage: python -m tests.bench.bench_histories [HISTORIES] [FIRST_SEED] [WRITES]
"""

import shutil
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

from sqlmodel import Session

from api.migrate import upgrade
from api.settings import Settings
from tests.support.bench_histories import BenchHistory, checked_again, stored_checks
from tests.support.databases import application, make_lead_key, signer
from tests.support.makers import make_world


def main(histories: int, first_seed: int, writes: int) -> int:
    """Return 1 if a stored check of any history differs from a check of all trials."""
    with tempfile.TemporaryDirectory() as folder:
        begun = _Begun(Path(folder))
        for seed in range(first_seed, first_seed + histories):
            if problem := _first_difference(begun, seed, writes):
                print(f"seed {seed}: {problem}")
                return 1
    print(f"{histories:,} histories, {histories * writes:,} writes: no difference")
    return 0


class _Begun:
    """A database with a world in it, of which each history gets a copy."""

    def __init__(self, folder: Path) -> None:
        self.first, self.copy = folder / "first.db", folder / "season.db"
        upgrade(f"sqlite:///{self.first}")
        with _running(self.first) as client:
            self.world = make_world(make_lead_key(client), signer(client))

    @contextmanager
    def history(self, seed):
        """Yield the history of a seed and its application, on a copy of its own."""
        shutil.copyfile(self.first, self.copy)
        with _running(self.copy) as client:
            yield BenchHistory(self.world.signed_in(signer(client)), seed), client
        for file in self.copy.parent.glob(f"{self.copy.name}*"):
            file.unlink()


def _running(file: Path):
    return application(Settings(database_url=f"sqlite:///{file}", requests_per_minute=1_000_000))


def _first_difference(begun: _Begun, seed: int, writes: int) -> str:
    """Return what differs first, and after how many writes; nothing if nothing ever does."""
    with begun.history(seed) as (history, client):
        season_id = history.world.season_id
        for done in range(1, writes + 1):
            history.write()
            with Session(client.app.state.database.write_engine) as db:
                stored, again = stored_checks(db, season_id), checked_again(db, season_id)
            differing = [name for name, rows in again.items() if stored[name] != rows]
            if differing:
                return f"{', '.join(differing)} differ after {done} writes"
    return ""


if __name__ == "__main__":
    numbers = [int(each) for each in sys.argv[1:]]
    sys.exit(main(*(numbers + [100, 0, 60][len(numbers) :])))
