"""Start the real service on a port of this machine, and run programs with it."""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from functools import cache
from pathlib import Path

import httpx
from sqlalchemy.engine import make_url

from api.db import open_database
from api.embedded import is_embedded
from api.migrate import upgrade
from api.models.access.keys import KeyCreate
from api.services.access import keys
from tests.support.programs import ROOT, Program, finished


@cache
def migrated_file():
    """Return an empty database at the newest schema to copy, because migrating takes seconds."""
    file = Path(tempfile.mkdtemp(prefix="gustbook-")) / "empty.db"
    upgrade(f"sqlite:///{file}")
    return file


class Service:
    """A real service on a port of its own."""

    def __init__(self, folder, database_url=None, **settings):
        port = self.free_port()
        self.url = f"http://127.0.0.1:{port}{settings.get('GUSTBOOK_ROOT_PATH', '')}"
        self.environment = (
            os.environ
            | {
                "GUSTBOOK_DATABASE_URL": database_url or f"sqlite:///{folder}/walk.db",
                "GUSTBOOK_BACKUP_FOLDER": f"{folder}/backups",
                "GUSTBOOK_URL": self.url,
            }
            | settings
        )
        self.database_url = self.environment["GUSTBOOK_DATABASE_URL"]
        if is_embedded(self.database_url):
            file = Path(make_url(self.database_url).database)
            if not file.exists():
                shutil.copy(migrated_file(), file)
        self.log = Path(folder) / "service.log"
        self.port = port
        self.start()

    @staticmethod
    def free_port():
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            return probe.getsockname()[1]

    def start(self):
        self.process = self.launched()
        until = time.monotonic() + 30
        while time.monotonic() < until:
            try:
                if httpx.get(f"{self.url}/readyz", timeout=2).status_code == 200:
                    return
            except httpx.TransportError:
                time.sleep(0.05)
        raise AssertionError("the service did not start")

    def launched(self):
        """Return the running program."""
        arguments = ("api", "serve", "--port", str(self.port))
        return Program(arguments, self.environment, {1: os.devnull, 2: self.log})

    def log_lines(self):
        """Return the lines of the service's log."""
        return self.log.read_text().splitlines()

    def kill(self):
        self.process.kill()
        self.process.wait()

    def run(self, *command, key=None):
        """Run a program as a person would; return the finished process."""
        environment = self.environment | ({"GUSTBOOK_KEY": key} if key else {})
        if command[:2] == ("-m", "api"):
            return finished(command[1:], environment)
        return subprocess.run(
            [sys.executable, *command], cwd=ROOT, env=environment,
            capture_output=True, text=True, check=False,
        )  # fmt: skip

    def lead_key(self, label="Lead"):
        """Create a lead's key as the console does, without starting a program; return it."""
        opened = open_database(self.database_url, threads=1, busy_timeout_s=20)
        try:
            with opened.unit_of_work() as db:
                return keys.create(db, keys.CONSOLE, KeyCreate(label=label, role="lead")).key
        finally:
            opened.close()

    def client(self, key):
        return httpx.Client(
            base_url=self.url, headers={"Authorization": f"Bearer {key}"}, timeout=30
        )


class FreshService(Service):
    """A service that is started as an operator starts it, so that it imports all its modules."""

    PROGRAM = ("-m", "api", "serve")

    def launched(self):
        command = [sys.executable, *self.PROGRAM, "--port", str(self.port)]
        with self.log.open("ab") as log:
            return subprocess.Popen(
                command, cwd=ROOT, env=self.environment, stdout=subprocess.DEVNULL, stderr=log
            )
