"""Run every check of this project: formatting, lint, types, import contracts, tests.

Usage: python3 scripts/check.py [--quick]

Makes .venv with the development packages first, if it is not there; the tests also need Chromium,
Node.js and npm. Ends with exit code 0 when all is well. --quick leaves out the tests.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scripts import environment

STEPS = (
    ("formatting", ["-m", "ruff", "format", "--check", "--quiet", "."]),
    ("lint", ["-m", "ruff", "check", "--quiet", "."]),
    ("types", ["-m", "mypy"]),
    (
        "import contracts",
        ["-c", "from importlinter.cli import lint_imports_command as run; run()", "--no-cache"],
    ),
)
TESTS = (
    ("programs that make clients", ["-m", "tests.clients.tools"]),
    (
        "tests",
        ["-m", "pytest", "--quiet", "-n", "2", "--dist", "loadfile", "--no-loadscope-reorder"],
    ),
)


SETTINGS = {
    # Like the service: matrices are small, and each worker has a core.
    "OPENBLAS_NUM_THREADS": "1",
    # Keep compiled files, whatever the environment says: the tests start Python a hundred times.
    "PYTHONDONTWRITEBYTECODE": "",
}

#: A folder in memory, if there is one, because the tests create and remove thousands of databases.
MEMORY, NEEDED_BYTES = Path("/dev/shm"), 4_000_000_000


def main(arguments: list[str]) -> int:
    """Run all steps in turn; return 0 if every step passed."""
    if "--help" in arguments or "-h" in arguments:
        print(__doc__)
        return 0
    environment.run_inside("check")
    steps = STEPS if "--quick" in arguments else (*STEPS, *TESTS)
    with tempfile.TemporaryDirectory(dir=_fastest_folder(), ignore_cleanup_errors=True) as folder:
        failed = [name for name, command in steps if not _passes(name, command, folder)]
    if failed:
        print(f"not green: {', '.join(failed)}")
        return 1
    print("all green")
    return 0


def _fastest_folder() -> Path | None:
    """Return the folder in memory if it has room; None means the system's default folder."""
    has_room = MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > NEEDED_BYTES
    return MEMORY if has_room else None


def _passes(name: str, command: list[str], folder: str) -> bool:
    print(f"== {name}", flush=True)
    started = time.monotonic()
    done = subprocess.run(
        [str(environment.python()), *command],
        cwd=environment.ROOT,
        env=os.environ | {"TMPDIR": folder} | SETTINGS,
        check=False,
    )
    print(
        f"== {name}: {'passed' if done.returncode == 0 else 'FAILED'} "
        f"in {time.monotonic() - started:.0f} s",
        flush=True,
    )
    return done.returncode == 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
