"""Programs started from one process that has imported the service, whose modules take seconds.

They are processes of their own all the same, with their own environment, output and end.
"""

import multiprocessing
import os
import runpy
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]

_imported = multiprocessing.get_context("forkserver")
_imported.set_forkserver_preload(
    ["api.__main__", "api.main", "api.routes.resources", "api.patience", "uvicorn"]
)


def _become(arguments, environment, outputs):
    """Go on as `python -m …` would in an environment, with its output in files."""
    os.environ.clear()
    os.environ.update(environment)
    time.tzset()
    os.chdir(ROOT)
    for descriptor, file in outputs.items():
        os.dup2(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), descriptor)
    module = arguments[0]
    sys.argv = [module, *arguments[1:]]
    sys.modules.pop(f"{module}.__main__", None)  # it runs again, as a program
    runpy.run_module(module, run_name="__main__", alter_sys=True)


class Program:
    """A module of the service that runs as a program."""

    def __init__(self, arguments, environment, outputs):
        """Start it; `outputs` names a file for each descriptor, 1 and 2."""
        fields = {descriptor: str(file) for descriptor, file in outputs.items()}
        self._process = _imported.Process(
            target=_become, args=([*arguments], dict(environment), fields), daemon=True
        )
        self._process.start()
        self.pid = self._process.pid

    @property
    def returncode(self):
        return self._process.exitcode

    def send_signal(self, number):
        os.kill(self.pid, number)

    def kill(self):
        if self.returncode is None:
            self.send_signal(signal.SIGKILL)

    def wait(self, timeout=None):
        """Wait for the end; return how it ended."""
        self._process.join(timeout)
        if self.returncode is None:
            raise TimeoutError("it still runs")
        return self.returncode


def finished(arguments, environment):
    """Run a module to its end; return what `subprocess.run` does."""
    with tempfile.TemporaryDirectory() as folder:
        files = {1: Path(folder) / "out", 2: Path(folder) / "err"}
        code = Program(arguments, environment, files).wait()
        items = [file.read_text() for file in files.values()]
    return subprocess.CompletedProcess([*arguments], code, *items)
