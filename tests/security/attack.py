"""Attacks on the service, each with the best that it reached: before and now.

`python -m tests.security.attack` tries what an attacker's requests cost all others, on a real
service, and what a coach learns of other schools' trials, on the demo's season. Crashes are tried
by `python -m tests.reliability.…`, reading during an import by `tests.reliability.reading`.
"""

import tempfile
from pathlib import Path

from tests.reliability.places import print_table
from tests.security import inference, load


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        print_table("What one attacker's requests cost all others", load.rows(Path(folder)))
    with inference.demo_season() as db:
        learned = inference.rows(db)
    print_table(f"What a coach of {inference.ATTACKER} learns of other schools' trials", learned)


if __name__ == "__main__":
    main()
