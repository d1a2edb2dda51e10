"""The real service on a port of this machine, and programs run beside it."""

import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx

ROOT = Path(__file__).parents[1]


class Service:
    """A real service on a port of its own."""

    PROGRAM = ("-m", "api", "serve")

    def __init__(self, folder, database_url=None, **settings):
        port = self.free_port()
        self.url = f"http://127.0.0.1:{port}"
        self.environment = (
            os.environ
            | {
                "GUSTBOOK_DATABASE_URL": database_url or f"sqlite:///{folder}/walk.db",
                "GUSTBOOK_BACKUP_FOLDER": f"{folder}/backups",
                "GUSTBOOK_URL": self.url,
            }
            | settings
        )
        self.log = Path(folder) / "service.log"
        self.command = [sys.executable, *self.PROGRAM, "--port", str(port)]
        self.start()

    @staticmethod
    def free_port():
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            return probe.getsockname()[1]

    def start(self):
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self.command, cwd=ROOT, env=self.environment, stdout=subprocess.DEVNULL, stderr=log
            )
        until = time.monotonic() + 30
        while time.monotonic() < until:
            try:
                if httpx.get(f"{self.url}/readyz", timeout=2).status_code == 200:
                    return
            except httpx.TransportError:
                time.sleep(0.05)
        raise AssertionError("the service did not start")

    def said(self):
        """Return the lines of the service's log."""
        return self.log.read_text().splitlines()

    def kill(self):
        self.process.kill()
        self.process.wait()

    def run(self, *command, key=None):
        """Run a program as a person would; return what it did."""
        environment = self.environment | ({"GUSTBOOK_KEY": key} if key else {})
        return subprocess.run(
            [sys.executable, *command], cwd=ROOT, env=environment,
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    def client(self, key):
        return httpx.Client(
            base_url=self.url, headers={"Authorization": f"Bearer {key}"}, timeout=30
        )
