"""Print how the real service answers hostile files: status, time and how far its memory rose.

Usage: python -m tests.bench.hostile_files. Ends with 1 where an answer is not the one that is due,
took longer than a second, or the memory rose by 100 MB or more.
"""

import tempfile
from pathlib import Path

from tests.api.test_hostile import BODIES
from tests.hostile_files import CSV, FILES, TOO_LARGE, body_of
from tests.hostile_run import Told, Visit, visiting

MOST_SECONDS, MOST_GROWTH = 1.0, 100e6


def main() -> int:
    """Send everything; print a line for each; return 1 if anything is not as it should be."""
    with tempfile.TemporaryDirectory() as folder, visiting(Path(folder)) as visit:
        wrong = [not _told(*line) for line in _answers(visit)]
        growth = visit.growth_bytes()
        alive = visit.is_alive()
    print(f"{len(wrong)} bodies, {sum(wrong)} not as due; memory rose by {growth / 1e6:.0f} MB")
    return int(any(wrong) or growth >= MOST_GROWTH or not alive)


def _answers(visit: Visit) -> list[tuple[str, Told, bool]]:
    files = [(file, visit.send(file.kind, file.make())) for file in FILES]
    bodies = [(name, visit.send("application/json", body)) for name, body in BODIES.items()]
    large = visit.announce(CSV, 100_000_000)
    untold = visit.send(CSV, body_of(100))
    return [
        *((file.label, told, told.status == file.status) for file, told in files),
        *((f"json {name}", told, 400 <= told.status < 500) for name, told in bodies),
        ("100 MB, none of it sent", large, large.status == TOO_LARGE),
        ("100 MB of untold length", untold, untold.status == TOO_LARGE),
    ]


def _told(name: str, told: Told, is_due: bool) -> bool:
    print(f"{told.status} {told.seconds:7.3f} s  {name}{'' if is_due else '  <- not due'}")
    return is_due and told.seconds < MOST_SECONDS


if __name__ == "__main__":
    raise SystemExit(main())
