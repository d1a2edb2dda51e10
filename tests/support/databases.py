"""Open databases and applications for tests: addresses, a lead's key, clients with a key."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

import psycopg
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy.engine import make_url

from api.main import bind, create_app
from api.models.access.keys import KeyCreate
from api.services.access import keys
from api.services.core.cache import _caches
from api.services.core.changes import forget_changes
from api.settings import Settings
from tests.support.documented import DocumentedAnswers
from tests.support.makers import Signed

ADDRESS = "http://gustbook.test"
HERE = "https://gustbook.test"  # of pages
#: The service should run with a plain role: row-level security does not apply to a superuser.
ROLE = "gustbook"


def named_database(address: str, name: str) -> str:
    """Return the address of another database of the same server, for a role without privileges."""
    url = make_url(address).set(database=name, username=ROLE)
    return url.render_as_string(hide_password=False)


def run_on_postgres(address: str, statement: str) -> None:
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(statement)


#: Settings of a service in which people may sign in with a school account.
SCHOOL_ACCOUNT = {
    "sign_in_issuer": "https://sso.school.test",
    "sign_in_client_id": "gustbook",
    "sign_in_client_secret": "secret",
}


@cache
def _assembled(max_body_bytes: int, with_school_account: bool) -> FastAPI:
    """Return an application to bind to several databases in turn, because assembling is slow."""
    more = SCHOOL_ACCOUNT if with_school_account else {}
    app = create_app(Settings(max_body_bytes=max_body_bytes, **more))
    app.add_middleware(DocumentedAnswers)
    return app


@contextmanager
def application(settings: Settings) -> Iterator[TestClient]:
    """Run an application on a database; use an assembled one if there is any."""
    app = _assembled(settings.max_body_bytes, bool(settings.sign_in_issuer))
    bind(app, settings)
    with TestClient(app, base_url=ADDRESS, raise_server_exceptions=False) as client:
        yield client
    forget_changes()
    _caches.clear()  # the next test's database has the same engine, ids and revisions


def signer(app_client: TestClient) -> Signed:
    """Return a function that makes clients with a key for the same running application."""

    def sign(key: str) -> TestClient:
        client = TestClient(
            app_client.app,
            base_url=ADDRESS,
            headers={"Authorization": f"Bearer {key}"},
            raise_server_exceptions=False,
        )
        client.portal = app_client.portal  # one event loop for all clients of a test
        return client

    return sign


def make_lead_key(client: TestClient) -> str:
    """Create the first key as the console does, and return it."""
    with client.app.state.database.unit_of_work() as db:
        return keys.create(db, keys.CONSOLE, KeyCreate(label="Lead", role="lead")).key
