"""Make `.venv` from a hashed lock file, using only Python's standard library.

Used by `demo.py` and `check.py` before any package is installed.
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
    """Print one line to standard error and end the program."""
    sys.stderr.write(f"{words}\n")
    raise SystemExit(code)


def python() -> Path:
    """Return the interpreter of `.venv`."""
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def run_inside(lock: str) -> None:
    """Restart inside `.venv`, after installing the packages of a lock file there if needed."""
    if sys.version_info < OLDEST_PYTHON:
        stop(f"Python 3.11 or newer is needed; this is {sys.version.split()[0]}")
    ensure(lock)
    if Path(sys.prefix).resolve() != VENV.resolve():
        command = [str(python()), *sys.argv]
        if os.name != "nt":  # the same process, so that a signal to it stops all of it
            sys.stdout.flush()
            os.execv(command[0], command)
        raise SystemExit(subprocess.run(command, check=False).returncode)


def ensure(lock: str) -> None:
    """Install the packages of a lock file into `.venv`, unless they are installed already."""
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
    """Stop with a clear message if the project's folder cannot be written."""
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
    process = subprocess.run(
        [sys.executable, "-m", "venv", "--clear", str(VENV)],
        check=False,
        capture_output=True,
        text=True,
    )
    if process.returncode != 0:
        output = f"{process.stdout}\n{process.stderr}".strip()
        if "ensurepip" in output or "No module named venv" in output:
            stop(
                "Python's venv module is not complete here; on Debian or Ubuntu: "
                "sudo apt install python3-venv"
            )
        stop(
            ".venv could not be made. Python says: "
            f"{output.splitlines()[-1] if output else 'nothing'}"
        )


def _install(lock: Path) -> None:
    process = subprocess.run(
        [
            str(python()),
            "-m",
            "pip",
            "install",
            "--quiet",
            "--disable-pip-version-check",
            "--no-input",
            "--no-compile",  # modules are compiled when they are first imported
            "--require-hashes",
            "-r",
            str(lock),
        ],
        check=False,
        capture_output=True,
        text=True,
    )
    if process.returncode != 0:
        last = (process.stderr.strip().splitlines() or ["no reason given"])[-1]
        stop(f"packages could not be installed; is the network there? pip says: {last}")
