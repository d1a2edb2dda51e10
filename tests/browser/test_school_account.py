"""A coach signs in with a school account, on a phone, to a service below a path of a host."""

import pytest

from tests.support.accessible import is_whole, violations
from tests.support.browsers import PHONE, visiting
from tests.support.makers import created
from tests.support.school_account import CLIENT, SECRET, SchoolAccount, on_a_port
from tests.support.service import Service

#: What the provider's package still uses of another package.
pytestmark = pytest.mark.filterwarnings("ignore:get_jwt_config:DeprecationWarning")
COACH, STRANGER = "coach@school.example", "stranger@school.example"


@pytest.fixture(scope="module")
def account():
    provider = SchoolAccount()
    for person in (COACH, STRANGER):
        provider.knows(person)
    with on_a_port(provider) as provider.issuer:
        yield provider


@pytest.fixture(scope="module")
def service(account, tmp_path_factory):
    folder = tmp_path_factory.mktemp("school")
    secret = folder / "secret"
    secret.write_text(SECRET)
    running = Service(
        folder, GUSTBOOK_SIGN_IN_ISSUER=account.issuer, GUSTBOOK_SIGN_IN_CLIENT_ID=CLIENT,
        GUSTBOOK_SIGN_IN_CLIENT_SECRET_FILE=str(secret), GUSTBOOK_ROOT_PATH="/wind",
    )  # fmt: skip
    with running.client(running.lead_key()) as lead:
        asked = {"label": "Kim's key", "role": "lead", "sign_in_email": COACH}
        created(lead.post("/v1/keys", json=asked))
    yield running
    running.kill()


def go_there(page, button, email):
    page.get_by_role("link", name=button).click()
    page.get_by_placeholder("sub").fill(email)
    page.get_by_role("button", name="Authorize").click()


@pytest.mark.parametrize(
    ("language", "button", "advice"),
    [
        ("en", "Sign in with your school account", "Ask a lead to attach your address"),
        ("de", "Anmelden mit Ihrem Schulkonto", "Bitten Sie die Leitung, Ihre Adresse"),
    ],
)
def test_a_stranger_reads_what_to_do_and_a_coach_goes_on(
    language, button, advice, browser, service, account
):
    styles = "https://cdn.jsdelivr.net"  # of the provider's own page
    hosts = (account.issuer, styles)
    with visiting(browser, service, hosts, viewport=PHONE, locale=language) as page:
        page.route(f"{styles}/**", lambda route: route.abort())
        page.goto(f"{service.url}/account")
        go_there(page, button, STRANGER)
        assert advice in page.get_by_role("alert").inner_text()
        assert violations(page, "light") == []
        assert is_whole(page)
        go_there(page, button, COACH)
        page.wait_for_url(f"{service.url}/account")
        assert "Kim's key" in page.locator("main").inner_text()
