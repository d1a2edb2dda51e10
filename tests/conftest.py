"""Fixtures: a migrated database for each test, an application, and two schools without links."""

import gc
import os
import shutil
import socket
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import hypothesis
import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event
from typer.testing import CliRunner, Result

import api.main
from api.__main__ import app as console
from api.db import open_database
from api.heap import GARBAGE_THRESHOLD
from api.migrate import upgrade
from api.schema import is_at_head
from api.settings import Settings
from tests.reliability.places import carried_postgres
from tests.support import documented
from tests.support.cached_results import out_of_date
from tests.support.databases import (
    ROLE,
    application,
    make_lead_key,
    named_database,
    run_on_postgres,
    signer,
)
from tests.support.makers import Signed, World, make_world, with_webhooks

#: For a longer look than the check has time for: pytest --hypothesis-profile=thousand.
#: A busy machine is no fault of what is tested.
hypothesis.settings.register_profile("unhurried", deadline=None)
hypothesis.settings.register_profile("thousand", max_examples=1000, deadline=None)
hypothesis.settings.load_profile("unhurried")

DATABASES = ("sqlite", "postgresql")


@pytest.fixture(autouse=True)
def _only_this_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """Refuse every connection that would leave this machine."""
    connect = socket.socket.connect

    def guarded(self: socket.socket, address: object) -> None:
        if self.family in (socket.AF_INET, socket.AF_INET6):
            host = address[0] if isinstance(address, tuple) else address
            assert host in ("127.0.0.1", "::1", "localhost"), f"a test reached for {host}"
        connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", guarded)


@dataclass(frozen=True)
class Templates:
    """Databases of one kind to copy: an empty one, and one with the world in it."""

    empty: str
    populated: str
    world: World


@pytest.fixture(scope="session")
def sqlite_templates(tmp_path_factory: pytest.TempPathFactory) -> Templates:
    folder = tmp_path_factory.mktemp("templates")
    empty, populated = folder / "empty.db", folder / "populated.db"
    upgrade(f"sqlite:///{empty}")
    shutil.copy(empty, populated)
    return Templates(str(empty), str(populated), _populate(f"sqlite:///{populated}"))


@pytest.fixture(scope="session")
def postgres_address() -> Iterator[str]:
    """Start a real PostgreSQL server, which a wheel carries."""
    # Not under pytest's own folders: another run may clear those while this one still works.
    with tempfile.TemporaryDirectory(prefix="gustbook-") as folder:
        wheel, _ = carried_postgres()
        server = wheel.get_server(Path(folder) / "data", cleanup_mode="stop")
        # Tests of a crash kill the service, never this server: it need not wait for the disk,
        # and copying a database for each test takes a tenth of the time.
        for setting in ("fsync", "full_page_writes", "autovacuum"):
            run_on_postgres(server.get_uri(), f"ALTER SYSTEM SET {setting} = off")
        run_on_postgres(server.get_uri(), "SELECT pg_reload_conf()")
        run_on_postgres(server.get_uri(), f"CREATE ROLE {ROLE} LOGIN CREATEDB")
        yield server.get_uri()
        server.cleanup()


@pytest.fixture(scope="session")
def postgres_templates(postgres_address: str) -> Templates:
    run_on_postgres(postgres_address, f"CREATE DATABASE empty OWNER {ROLE}")
    upgrade(named_database(postgres_address, "empty"))
    run_on_postgres(postgres_address, f"CREATE DATABASE populated OWNER {ROLE} TEMPLATE empty")
    world = _populate(named_database(postgres_address, "populated"))
    return Templates("empty", "populated", world)


def _populate(database_url: str) -> World:
    """Make the world in a database through the public API."""
    settings = Settings(database_url=database_url, webhook_hosts="127.0.0.1:9")
    with application(settings) as client:
        signed = signer(client)
        return with_webhooks(make_world(make_lead_key(client), signed), signed)


@pytest.fixture
def programs_of_postgres(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let `pg_dump` be found where the wheel that carries the server has it."""
    _, programs = carried_postgres()
    monkeypatch.setenv("PATH", f"{programs}{os.pathsep}{os.environ['PATH']}")


@pytest.fixture
def run(
    database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Result]:
    """Return a way to run a command as an operator does on the console."""
    monkeypatch.setenv("GUSTBOOK_DATABASE_URL", database_url)
    monkeypatch.setenv("GUSTBOOK_BACKUP_FOLDER", str(tmp_path / "backups"))
    return lambda *words: CliRunner().invoke(console, words)


@pytest.fixture
def sqlite_url(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """Return the address of a fresh copy, the same one for each test: see `_opened`."""
    templates: Templates = request.getfixturevalue("sqlite_templates")
    folder = tmp_path_factory.getbasetemp() / "programme"
    folder.mkdir()
    shutil.copy(getattr(templates, _wanted(request)), folder / "programme.db")
    yield f"sqlite:///{folder}/programme.db"
    shutil.rmtree(folder)


@pytest.fixture
def postgres_url(request: pytest.FixtureRequest, postgres_address: str) -> Iterator[str]:
    """Return the address of a fresh copy, the same one for each test: see `_opened`."""
    templates: Templates = request.getfixturevalue("postgres_templates")
    template = getattr(templates, _wanted(request))
    run_on_postgres(postgres_address, f"CREATE DATABASE programme OWNER {ROLE} TEMPLATE {template}")
    yield named_database(postgres_address, "programme")
    run_on_postgres(postgres_address, "DROP DATABASE programme WITH (FORCE)")


@pytest.fixture
def server_database(
    request: pytest.FixtureRequest, postgres_address: str, postgres_templates: Templates
) -> Iterator[str]:
    """Return the address of an empty database of a name of its own, for processes on ports."""
    name = f"ports_{request.node.name[:20].lower()}"
    empty = postgres_templates.empty
    run_on_postgres(postgres_address, f'CREATE DATABASE "{name}" OWNER {ROLE} TEMPLATE {empty}')
    yield named_database(postgres_address, name)
    run_on_postgres(postgres_address, f'DROP DATABASE "{name}" WITH (FORCE)')


def _wanted(request: pytest.FixtureRequest) -> str:
    """Return the template a test needs: the populated one if it asks for the world."""
    return "populated" if "world" in request.fixturenames else "empty"


@pytest.fixture
def database_kind(request: pytest.FixtureRequest) -> str:
    """Name SQLite, unless a test is marked `on_both`."""
    return str(getattr(request, "param", "sqlite"))


@pytest.fixture
def database_url(request: pytest.FixtureRequest, database_kind: str) -> str:
    url: str = request.getfixturevalue(
        "sqlite_url" if database_kind == "sqlite" else "postgres_url"
    )
    return url


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run what is marked `on_both` on SQLite and on PostgreSQL."""
    marked = metafunc.definition.get_closest_marker("on_both")
    if marked and "database_kind" in metafunc.fixturenames:
        metafunc.parametrize("database_kind", DATABASES, indirect=True)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest, so that both workers end at the same time."""
    items.sort(key=lambda item: item.path.parent.name not in ("browser", "reliability"))


def pytest_collection_finish() -> None:
    """Collect garbage less often: it takes a tenth of the time with so many modules imported."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(*GARBAGE_THRESHOLD)


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "on_both: runs on SQLite and on PostgreSQL")


@pytest.fixture
def settings(database_url: str) -> Settings:
    return Settings(database_url=database_url, max_body_bytes=3_000_000, max_import_rows=5_000)


#: Engines keep the SQL that they have compiled, which takes longer than running it on a few rows:
#: tests with the same address share them.
_opened = cache(open_database)


@pytest.fixture(scope="session", autouse=True)
def _one_engine_for_each_address() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(api.main, "open_database", _opened)
        yield


@pytest.fixture
def app_client(settings: Settings) -> Iterator[TestClient]:
    """Return a client without a key.

    Whatever was done with it left no result out of date, and each answer is a documented one.
    """
    documented.faults.clear()
    with application(settings) as client, _noting_writes(client) as writes:
        yield client
        assert documented.faults == []
        if not writes:
            return
        with client.app.state.database.reading() as db:
            if is_at_head(db.connection()):  # a test may have taken it back to an older one
                assert out_of_date(db) == []


@contextmanager
def _noting_writes(client: TestClient) -> Iterator[list[str]]:
    """Note the transactions of a client's service that may have written; a server's all may."""
    engine, writes = client.app.state.database.write_engine, []
    note = writes.append
    event.listen(engine, "commit", note)
    yield writes
    event.remove(engine, "commit", note)


@pytest.fixture
def signed(app_client: TestClient) -> Signed:
    return signer(app_client)


@pytest.fixture
def lead(app_client: TestClient, signed: Signed) -> TestClient:
    """Return a lead's client of an empty programme."""
    return signed(make_lead_key(app_client))


@pytest.fixture
def world(request: pytest.FixtureRequest, database_kind: str, signed: Signed) -> World:
    """Return two schools, Larch and Birch, each with a team, a bench and a trial."""
    kind = "sqlite" if database_kind == "sqlite" else "postgres"
    templates: Templates = request.getfixturevalue(f"{kind}_templates")
    return templates.world.signed_in(signed)
