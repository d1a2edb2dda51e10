"""Build the wheel from a set of files, install it, and run its command as an operator does."""

import os
import shutil
import subprocess
import sys
import venv
import zipfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
#: Nothing of the tree may be found by its place, and no setting of this machine may help.
LEFT_OUT = ("PYTHONPATH", "GUSTBOOK_")


def files_of_tree():
    """Return the paths of the tree's files, without those that git ignores."""
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, check=True,
        capture_output=True, text=True,
    ).stdout.splitlines()  # fmt: skip
    return sorted(path for path in listed if (ROOT / path).is_file())


def copy_files(paths, folder):
    """Copy files of the tree into a folder; a path may come with the place it gets there."""
    for path in paths:
        source, target = (path, path) if isinstance(path, str) else path
        (folder / target).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / source, folder / target)
    return folder


def build(source, folder, *options):
    """Build from the files in a folder, without the network; return what was built."""
    command = [sys.executable, "-m", "hatchling", "build", "--directory", str(folder), *options]
    subprocess.run(command, cwd=source, check=True, capture_output=True)
    return sorted(folder.iterdir())


def contents(wheel):
    """Return the bytes of each file in a wheel, by path."""
    with zipfile.ZipFile(wheel) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


@dataclass(frozen=True)
class Installed:
    """A wheel in an environment of its own; commands run in an empty folder."""

    environment: Path
    folder: Path

    @property
    def variables(self):
        kept = {name: value for name, value in os.environ.items() if not name.startswith(LEFT_OUT)}
        return kept | {"PATH": f"{self.environment / 'bin'}{os.pathsep}{os.environ['PATH']}"}

    def run(self, *command, **variables):
        """Run a command to its end."""
        return subprocess.run(
            command, cwd=self.folder, env=self.variables | variables,
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    def start(self, *command, log):
        """Start a command, with its messages in a file."""
        with log.open("wb") as opened:
            return subprocess.Popen(
                command, cwd=self.folder, env=self.variables, stdout=opened, stderr=opened
            )


def install(wheel, folder):
    """Install a wheel without the network; its requirements are those of this environment."""
    environment, empty = folder / "venv", folder / "empty"
    empty.mkdir()
    venv.create(environment, symlinks=True)
    (library,) = environment.glob("lib/python*/site-packages")
    others = [path for path in sys.path if path.endswith("site-packages")]
    (library / "requirements.pth").write_text("\n".join(others), encoding="utf-8")
    subprocess.run(
        [sys.executable, "-m", "pip", "--python", str(environment / "bin/python"), "install",
         "--quiet", "--no-deps", "--no-index", "--no-compile", str(wheel)],
        check=True, capture_output=True,
    )  # fmt: skip
    return Installed(environment, empty)
