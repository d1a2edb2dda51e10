"""Make `.venv` from a hashed lock, with nothing but Python's own library.

Used by `demo.py` and `check.py` before anything else is installed.
"""

import hashlib
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
VENV = ROOT / ".venv"
LOCKS = Path(__file__).resolve().parent / "lock"
OLDEST_PYTHON = (3, 11)


def stop(words: str, code: int = 2) -> None:
    """End with one clear line."""
    sys.stderr.write(f"{words}\n")
    raise SystemExit(code)


def python() -> Path:
    """Return the interpreter of `.venv`."""
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def run_inside(lock: str) -> None:
    """Go on inside `.venv`, which holds what a lock names; made or completed if need be."""
    if sys.version_info < OLDEST_PYTHON:
        stop(f"Python 3.11 or newer is needed; this is {sys.version.split()[0]}")
    ensure(lock)
    if Path(sys.prefix).resolve() != VENV.resolve():
        command = [str(python()), *sys.argv]
        if os.name != "nt":  # the same process, so that anyone who stops it stops all of it
            sys.stdout.flush()
            os.execv(command[0], command)
        raise SystemExit(subprocess.run(command, check=False).returncode)


def ensure(lock: str) -> None:
    """Make `.venv` hold what a lock names; quick when it already does."""
    wanted = _stamp(lock)
    stamp = VENV / f"installed-{lock}"
    if stamp.exists() and stamp.read_text() == wanted and python().exists():
        return
    _require_writable()
    if not python().exists():
        _make()
    sys.stderr.write(f"installing packages of {lock}.txt into .venv, once …\n")
    _install(LOCKS / f"{lock}.txt")
    stamp.write_text(wanted)


def _stamp(lock: str) -> str:
    text = (LOCKS / f"{lock}.txt").read_bytes() + sys.version.encode()
    return hashlib.sha256(text).hexdigest()


def _require_writable() -> None:
    """Stop where the folder of the project cannot be written, before anything else fails on it."""
    try:
        with tempfile.TemporaryDirectory(dir=ROOT):
            pass
    except OSError as error:
        stop(
            f"{ROOT} cannot be written ({error.strerror}), and packages go into a folder .venv "
            "there: allow yourself to write it, or copy the project to a folder of your own."
        )


def _make() -> None:
    sys.stderr.write("making .venv …\n")
    done = subprocess.run(
        [sys.executable, "-m", "venv", "--clear", str(VENV)],
        check=False,
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        said = f"{done.stdout}\n{done.stderr}".strip()
        if "ensurepip" in said or "No module named venv" in said:
            stop(
                "Python's venv module is not complete here; on Debian or Ubuntu: "
                "sudo apt install python3-venv"
            )
        stop(
            f".venv could not be made. Python says: {said.splitlines()[-1] if said else 'nothing'}"
        )


def _install(lock: Path) -> None:
    done = subprocess.run(
        [
            str(python()),
            "-m",
            "pip",
            "install",
            "--quiet",
            "--disable-pip-version-check",
            "--no-input",
            "--no-compile",  # only what is imported gets compiled, when it is
            "--require-hashes",
            "-r",
            str(lock),
        ],
        check=False,
        capture_output=True,
        text=True,
    )
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or ["no reason given"])[-1]
        stop(f"packages could not be installed; is the network there? pip says: {last}")
