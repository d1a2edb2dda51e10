"""Install the programs that make clients from the API document into the check's environment.

Usage: python -m tests.clients.tools

Exit code 0: all of them are there, or npm's registry does not answer from here, as in networks that
mirror only Python's packages; the last line then says what is left out. 1: something is missing,
and the last line says what to do.
"""

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

Install = Callable[[Path], subprocess.CompletedProcess[str]]
HERE = Path(__file__).parent
FOLDER = Path(sys.prefix) / "clients"
LOCK = HERE.parents[1] / "scripts" / "lock" / "clients.txt"
NODE_FILES = (HERE / "package.json", HERE / "package-lock.json")
NO_NODE = (
    "Node.js and npm are needed, to make the TypeScript client and to hold the API document "
    "against public rules; on Debian or Ubuntu: sudo apt install nodejs npm"
)
LEFT_OUT = (
    "npm's registry does not answer: the TypeScript client and the public rules for API documents "
    "are left out of this check"
)
NO_NETWORK = "the programs that make clients could not be installed; is the network there?"


def python_generator() -> Path:
    """Return the folder of the program that makes the Python client, as it is locked."""
    return FOLDER / f"python-{_digest(LOCK)}"


def node_packages() -> Path:
    """Return the folder of the packages for Node.js, as they are locked."""
    return FOLDER / f"node-{_digest(*NODE_FILES)}" / "node_modules"


def run(command: list[str], folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a program in a folder; return it finished, with its output."""
    return subprocess.run(
        command, cwd=folder, env=os.environ | environment,
        capture_output=True, text=True, check=False,
    )  # fmt: skip


def main() -> int:
    """Install what is missing; return 0 if all is there."""
    if not (shutil.which("node") and shutil.which("npm")):
        sys.stderr.write(f"{NO_NODE}\n")
        return 1
    if not _is_installed(python_generator(), _install_python):
        sys.stderr.write(f"{NO_NETWORK}\n")
        return 1
    if _is_installed(node_packages().parent, _install_node):
        return 0
    is_fault = _answers()
    sys.stderr.write(f"{NO_NETWORK if is_fault else LEFT_OUT}\n")
    return 1 if is_fault else 0


def _answers() -> bool:
    """Tell whether npm's registry answers."""
    return run(["npm", "ping"], HERE).returncode == 0


def _digest(*files: Path) -> str:
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()[:12]


def _is_installed(folder: Path, install: Install) -> bool:
    """Tell whether a folder is there; make it if not, under another name until it is complete."""
    if folder.exists():
        return True
    begun = folder.with_suffix(".begun")
    shutil.rmtree(begun, ignore_errors=True)
    begun.mkdir(parents=True)
    done = install(begun)
    if done.returncode != 0:
        sys.stderr.write(f"{' '.join(done.args)} failed:\n{done.stdout}{done.stderr}")
        return False
    begun.rename(folder)
    return True


def _install_python(folder: Path) -> subprocess.CompletedProcess[str]:
    options = ["--quiet", "--disable-pip-version-check", "--no-input", "--no-compile", "--no-deps"]
    locked = ["--require-hashes", "--target", str(folder), "-r", str(LOCK)]
    return run([sys.executable, "-m", "pip", "install", *options, *locked], folder)


def _install_node(folder: Path) -> subprocess.CompletedProcess[str]:
    for file in NODE_FILES:
        shutil.copy(file, folder)
    return run(["npm", "ci", "--no-audit", "--no-fund", "--ignore-scripts"], folder)


if __name__ == "__main__":
    raise SystemExit(main())
