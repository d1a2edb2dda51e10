"""Start a real service with two schools, and a real browser with a coach's phone."""

import pytest

from tests.support.browsers import PHONE, launched, sign_in, visiting
from tests.support.makers import make_world
from tests.support.service import Service


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    # Nobody presses the button to sign in with a school account; the pages with it are looked at.
    running = Service(
        tmp_path_factory.mktemp("browser"), GUSTBOOK_STYLEGUIDE="1",
        GUSTBOOK_SIGN_IN_ISSUER="http://localhost:9", GUSTBOOK_SIGN_IN_CLIENT_ID="gustbook",
        GUSTBOOK_SIGN_IN_CLIENT_SECRET="secret",
    )  # fmt: skip
    yield running
    running.kill()


@pytest.fixture(scope="module")
def world(service):
    lead_key = service.lead_key()
    clients = {}

    def signed(key):
        return clients.setdefault(key, service.client(key))

    yield make_world(lead_key, signed).signed_in(signed)
    for client in clients.values():
        client.close()


@pytest.fixture(scope="module")
def browser():
    with launched() as running:
        yield running


@pytest.fixture
def phone(browser, service, world):
    """Return a coach's phone, signed in."""
    with visiting(browser, service, viewport=PHONE, has_touch=True) as page:
        sign_in(page, world.larch.coach_key)
        yield page
