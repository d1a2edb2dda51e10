"""Print how the real service answers hostile files: status, time and how far its memory rose.

Usage: python -m tests.bench.hostile_files. Ends with 1 where an answer is not the one that is due,
took longer than a second, or the memory rose by 100 MB or more.
"""

import tempfile
from pathlib import Path

from tests.support.hostile_bodies import BODIES
from tests.support.hostile_files import CSV, FILES, TOO_LARGE, body_of
from tests.support.hostile_run import Reply, Visit, visiting

MOST_SECONDS, MOST_GROWTH = 1.0, 100e6


def main() -> int:
    """Send everything; print a line for each; return 1 if anything is not as it should be."""
    with tempfile.TemporaryDirectory() as folder, visiting(Path(folder)) as visit:
        wrong = [not _print_reply(*line) for line in _answers(visit)]
        growth = visit.growth_bytes()
        alive = visit.is_alive()
    print(f"{len(wrong)} bodies, {sum(wrong)} not as due; memory rose by {growth / 1e6:.0f} MB")
    return int(any(wrong) or growth >= MOST_GROWTH or not alive)


def _answers(visit: Visit) -> list[tuple[str, Reply, bool]]:
    files = [(file, visit.send(file.kind, file.make())) for file in FILES]
    bodies = [(name, visit.send("application/json", body)) for name, body in BODIES.items()]
    large = visit.announce(CSV, 100_000_000)
    unsized = visit.send(CSV, body_of(100))
    return [
        *((file.label, result, result.status == file.status) for file, result in files),
        *((f"json {name}", result, 400 <= result.status < 500) for name, result in bodies),
        ("100 MB, none of it sent", large, large.status == TOO_LARGE),
        ("100 MB without a length", unsized, unsized.status == TOO_LARGE),
    ]


def _print_reply(name: str, reply: Reply, is_due: bool) -> bool:
    print(f"{reply.status} {reply.seconds:7.3f} s  {name}{'' if is_due else '  <- not due'}")
    return is_due and reply.seconds < MOST_SECONDS


if __name__ == "__main__":
    raise SystemExit(main())
