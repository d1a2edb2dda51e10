"""Compare the stored checks of drawn histories, after each write, with checks of all trials.

Usage: python -m tests.bench.bench_histories [HISTORIES] [FIRST_SEED]
"""

import sys
import tempfile
from pathlib import Path

from sqlmodel import Session

from api.migrate import upgrade
from api.settings import Settings
from tests.support.bench_histories import BenchHistory, checked_again, stored_checks
from tests.support.databases import application, make_lead_key, signer
from tests.support.makers import make_world

WRITES = 60


def main(histories: int, first_seed: int) -> int:
    """Return 1 if a stored check of any history differs from a check of all trials."""
    writes = 0
    for seed in range(first_seed, first_seed + histories):
        with tempfile.TemporaryDirectory() as folder:
            differing, done = _differing(Path(folder) / "season.db", seed)
        writes += done
        if differing:
            print(f"seed {seed}: {', '.join(differing)} differ after {done} writes")
            return 1
    print(f"{histories} histories, {writes:,} writes: no difference")
    return 0


def _differing(file: Path, seed: int) -> tuple[list[str], int]:
    """Return what differs first, and after how many writes; nothing after all of them."""
    upgrade(f"sqlite:///{file}")
    settings = Settings(database_url=f"sqlite:///{file}", requests_per_minute=1_000_000)
    with application(settings) as client:
        world = make_world(make_lead_key(client), signer(client)).signed_in(signer(client))
        history = BenchHistory(world, seed)
        for done in range(1, WRITES + 1):
            history.write()
            with Session(client.app.state.database.write_engine) as db:
                stored = stored_checks(db, world.season_id)
                again = checked_again(db, world.season_id)
            differing = [name for name, rows in again.items() if stored[name] != rows]
            if differing:
                return differing, done
    return [], WRITES


if __name__ == "__main__":
    numbers = [int(each) for each in sys.argv[1:]]
    sys.exit(main(*(numbers + [100, 0][len(numbers) :])))
