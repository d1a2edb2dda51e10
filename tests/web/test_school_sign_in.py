"""Signing in with a school account: a real provider and a real service, each on a port."""

import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from werkzeug.wrappers import Response

from api.services.access.school_account import attempts
from tests.support.forged_tokens import FORGERIES
from tests.support.makers import created
from tests.support.school_account import CLIENT, SECRET, SchoolAccount, as_json, on_a_port
from tests.support.school_browsers import NUMBERS, Browser
from tests.support.service import Service

#: What the provider's package still uses of another package.
pytestmark = pytest.mark.filterwarnings("ignore:get_jwt_config:DeprecationWarning")
SESSION, ATTEMPT = "gustbook-plain", "gustbook-plain-school"


@pytest.fixture(scope="module")
def provider():
    account = SchoolAccount()
    with on_a_port(account) as account.issuer:
        yield account


@pytest.fixture
def account(provider):
    yield provider
    provider.reset()


@pytest.fixture(scope="module")
def service(provider, tmp_path_factory):
    running = Service(
        tmp_path_factory.mktemp("school"), GUSTBOOK_PLAIN_HTTP_PAGES="1",
        GUSTBOOK_SIGN_IN_ISSUER=provider.issuer, GUSTBOOK_SIGN_IN_CLIENT_ID=CLIENT,
        GUSTBOOK_SIGN_IN_CLIENT_SECRET=SECRET, GUSTBOOK_SIGN_IN_NAME="the school's account",
    )  # fmt: skip
    yield running
    running.kill()


@pytest.fixture(scope="module")
def lead(service):
    with service.client(service.lead_key()) as client:
        yield client


@pytest.fixture
def another(service):
    """Return a function that opens another browser."""
    opened = []

    def open_one():
        opened.append(Browser(service))
        return opened[-1]

    yield open_one
    for each in opened:
        each.client.close()


@pytest.fixture
def browser(another):
    return another()


@pytest.fixture
def key(lead, account):
    """Return a key with the address of somebody who has an account."""
    address = f"coach-{next(NUMBERS)}@school.example"
    account.knows(address)
    return key_with(lead, address)


@pytest.fixture
def email(key):
    """Return the address of somebody who has an account, and a key with that address."""
    return key["sign_in_email"]


def key_with(lead, address, **facts):
    """Make a key with an address, as a lead does by script."""
    asked = {"label": f"Key of {address}", "role": "lead", "sign_in_email": address}
    return created(lead.post("/v1/keys", json=asked | facts))


def is_refused(answer, status, words):
    """Assert that an answer is the sign-in page with a sentence, and that nobody is signed in."""
    assert answer.status_code == status, answer.text
    assert words in answer.text
    assert 'role="alert"' in answer.text
    assert 'action="/sign-in"' in answer.text
    assert "aria-invalid" not in answer.text  # it was not the key
    assert SESSION not in answer.cookies
    return True


BEGIN_AGAIN = "Please begin again."
NO_KEY = "No valid key belongs to the address of your school account"


class TestRefused:
    """Attacks and mishaps, each on its way from the provider."""

    def test_a_way_back_that_another_browser_began(self, another, browser, email):
        attacker = another()
        code_of_attacker = attacker.allowed(attacker.asked(), email)
        assert is_refused(browser.client.get(code_of_attacker), 400, BEGIN_AGAIN)

    def test_a_code_of_another_browser_with_the_own_state(self, another, browser, email):
        attacker = another()
        code = query(attacker.allowed(attacker.asked(), email))["code"]
        state = query(browser.asked())["state"]
        answer = browser.client.get("/sign-in/school/back", params={"code": code, "state": state})
        assert is_refused(answer, 400, "could not be verified")

    def test_a_swapped_state(self, browser, email):
        back = query(browser.allowed(browser.asked(), email))
        for state in ("", "x", back["state"][:-1], back["state"].swapcase(), "ä"):
            asked = back | {"state": state}
            answer = browser.client.get("/sign-in/school/back", params=asked)
            assert is_refused(answer, 400, BEGIN_AGAIN)

    def test_an_attempt_of_an_older_tab_does_not_end_the_newer_one(self, browser, email):
        older, newer = (browser.allowed(browser.asked(), email) for _ in range(2))
        assert is_refused(browser.client.get(older), 400, BEGIN_AGAIN)
        assert browser.client.get(newer).headers["location"] == "/today"

    def test_a_cookie_with_another_page_or_time(self, browser, email):
        back = browser.allowed(browser.asked("/teams"), email)
        secret, begun, _ = browser.client.cookies[ATTEMPT].split(".")
        for changed in (f"{secret}.{begun}.%2Ftoday", f"{secret}.{int(begun) + 1}.%2Fteams", "x"):
            browser.client.cookies.set(ATTEMPT, changed, domain="127.0.0.1")
            assert is_refused(browser.client.get(back), 400, BEGIN_AGAIN)
            browser.client.cookies.clear()

    def test_an_attempt_of_eleven_minutes_ago(self, browser):
        old = attempts.begin("/today", datetime.now(UTC) - timedelta(minutes=11))
        browser.client.cookies.set(ATTEMPT, old.cookie, domain="127.0.0.1")
        asked = {"code": "x", "state": old.state}
        answer = browser.client.get("/sign-in/school/back", params=asked)
        assert is_refused(answer, 400, BEGIN_AGAIN)

    def test_a_code_that_was_used(self, browser, email):
        back = browser.allowed(browser.asked(), email)
        attempt = browser.client.cookies[ATTEMPT]
        assert browser.client.get(back).status_code == 303
        assert is_refused(browser.client.get(back), 400, BEGIN_AGAIN)
        browser.client.cookies.set(ATTEMPT, attempt, domain="127.0.0.1")
        assert is_refused(browser.client.get(back), 400, "could not be verified")

    @pytest.mark.parametrize(
        "changed",
        [
            {"aud": "another service"},
            {"aud": [CLIENT, "another service"]},
            {"aud": [CLIENT, "another service"], "azp": "another service"},
            {"azp": "another service"},
            {"iss": "https://another.example"},
            {"nonce": "of another attempt"},
            {"nonce": None},
            {"exp": int(time.time()) - 120},
            {"exp": None},
            {"exp": float("nan")},
            {"iat": int(time.time()) + 36_000},  # hours, as the tests before it take minutes
            {"sub": None},
        ],
    )
    def test_an_id_token_that_says_something_else(self, changed, browser, account, email):
        def change(claims):
            return {name: each for name, each in (claims | changed).items() if each is not None}

        account.change = change
        assert is_refused(browser.sign_in(email), 400, "could not be verified")

    @pytest.mark.parametrize("forge", ["none", "public key as a secret", "client's secret",
                                       "another key", "another key of its name",
                                       "its own key in the token", "no token", "odd header",
                                       "deep claims"])  # fmt: skip
    def test_an_id_token_that_the_provider_did_not_sign(self, forge, browser, account, email):
        account.sign = FORGERIES[forge](account)
        assert is_refused(browser.sign_in(email), 400, "could not be verified")

    @pytest.mark.parametrize("verified", [False, None, "true", 1])
    def test_an_address_that_is_not_verified(self, verified, browser, account, email):
        account.knows(email, email_verified=verified)
        assert is_refused(browser.sign_in(email), 401, "does not confirm")

    def test_an_account_without_an_address(self, browser, account, email):
        account.knows(email, email=None)
        assert is_refused(browser.sign_in(email), 401, "does not confirm")

    def test_an_address_of_nobody_here(self, browser, account, email):
        account.knows("stranger@school.example")
        answer = browser.sign_in("stranger@school.example")
        assert is_refused(answer, 401, NO_KEY)
        assert "school.example" not in answer.text

    def test_an_address_that_only_looks_the_same(self, browser, account, lead):
        key_with(lead, "kim@school.example")
        account.knows("other@school.example", email="\u212aim@school.example")  # the Kelvin sign
        assert is_refused(browser.sign_in("other@school.example"), 401, NO_KEY)

    def test_the_address_of_a_revoked_key(self, browser, service, key):
        assert service.run("-m", "api", "key", "revoke", key["id"]).returncode == 0
        assert is_refused(browser.sign_in(key["sign_in_email"]), 401, NO_KEY)

    def test_the_address_of_a_key_that_has_ended(self, browser, lead, account):
        a_minute_ago = datetime.now(UTC) - timedelta(minutes=1)
        key_with(lead, "past@school.example", expires_at=a_minute_ago.isoformat())
        account.knows("past@school.example")
        assert is_refused(browser.sign_in("past@school.example"), 401, NO_KEY)

    def test_somebody_who_declines(self, browser, email):
        back = browser.allowed(browser.asked(), email, action="deny")
        # The package leaves the state out of a refusal, so it is put back as providers do.
        asked = {"error": "access_denied", "state": state_of(browser)}
        assert "error=access_denied" in back
        answer = browser.client.get("/sign-in/school/back", params=asked)
        assert is_refused(answer, 400, "did not sign you in")

    @pytest.mark.parametrize("path", ["/oauth2/token", "/userinfo"])
    @pytest.mark.parametrize("fault", ["broken", "no JSON", "a list", "too large", "elsewhere"])
    def test_a_provider_with_a_fault(self, fault, path, browser, account, email):
        account.change = without_email
        account.answer = lambda asked: FAULTS[fault]() if asked == path else None
        assert is_refused(browser.sign_in(email), 502, "cannot be reached now")

    def test_a_user_info_of_somebody_else(self, browser, account, email):
        account.change = without_email
        theirs = {"sub": "another", "email": email, "email_verified": True}
        account.answer = lambda path: as_json(theirs) if path == "/userinfo" else None
        assert is_refused(browser.sign_in(email), 400, "could not be verified")

    def test_a_way_to_another_site_afterwards(self, browser, email):
        for elsewhere in ("//evil.test", "https://evil.test", "/\\evil.test"):
            assert browser.sign_in(email, elsewhere).headers["location"] == "/today"

    def test_another_site_begins_no_sign_in(self, browser, account):
        for site in ("cross-site", "same-site"):
            answer = browser.client.get("/sign-in/school", headers={"Sec-Fetch-Site": site})
            assert answer.headers["location"] == "/sign-in"
            assert ATTEMPT not in answer.cookies

    def test_ten_failures_of_a_network_and_a_right_one_afterwards(self, browser, email):
        for _ in range(10):
            assert browser.client.get("/sign-in/school/back").status_code == 400
        answer = browser.client.get("/sign-in/school/back")
        assert (answer.status_code, "Retry-After" in answer.headers) == (429, True)
        assert browser.sign_in(email).headers["location"] == "/today"

    def test_many_of_one_network_do_not_hold_up_another(self, another, browser, account, email):
        def answer_slowly(path):
            if path == "/oauth2/token":
                time.sleep(0.1)

        account.answer, attacker, many = answer_slowly, another(), 24
        wrong = {"state": query(attacker.asked())["state"], "code": "x"}
        back = browser.allowed(browser.asked(), email)
        with ThreadPoolExecutor(many) as crowd:
            for _ in range(many):
                crowd.submit(attacker.client.get, "/sign-in/school/back", params=wrong)
            while "/oauth2/token" not in account.paths:
                time.sleep(0.01)
            assert browser.client.get(back).headers["location"] == "/today"
            assert account.paths.count("/oauth2/token") < many / 2

    def test_the_log_has_the_reason_and_nobody(self, service, browser, account):
        account.knows("secret@school.example")
        back = browser.allowed(browser.asked(), "secret@school.example")
        browser.client.get(back)
        log = "\n".join(service.log_lines())
        assert '"message": "school sign-in failed"' in log
        assert '"reason": "unknown"' in log
        for secret in ("secret@", query(back)["code"], query(back)["state"], SECRET):
            assert secret not in log


def without_email(claims):
    return {name: each for name, each in claims.items() if name != "email"}


def query(address):
    return {name: values[0] for name, values in parse_qs(urlsplit(address).query).items()}


def state_of(browser):
    secret, begun, page = browser.client.cookies[ATTEMPT].split(".")
    assert page == "%2Ftoday"
    return attempts.Attempt(secret, int(begun), "/today").state


FAULTS = {
    "broken": lambda: as_json({"error": "server_error"}, 500),
    "no JSON": lambda: Response("<h1>Maintenance</h1>", 200),
    "a list": lambda: as_json([1]),
    "too large": lambda: as_json({"x": "y" * 400_000}),
    "elsewhere": lambda: Response("", 302, headers={"Location": "http://x.test"}),
}


def change_key(lead, key, **changes):
    """Change a key, as a lead does by script."""
    tag = {"If-Match": '"v1"'}
    assert lead.patch(f"/v1/keys/{key['id']}", json=changes, headers=tag).status_code == 200


class TestSignedIn:
    def test_one_goes_on_to_what_was_asked_for(self, browser, email):
        answer = browser.sign_in(email, "/seasons?x=1&y=2")
        assert answer.headers["location"] == "/seasons?x=1&y=2"
        assert f"Key of {email}" in browser.account_page().text
        assert ATTEMPT not in browser.client.cookies

    def test_a_client_that_follows_redirects(self, another, email):
        browser = another()
        browser.client.follow_redirects = True
        form = browser.client.get("/sign-in/school?next=/account")
        answer = browser.client.post(form.url, data={"sub": email})
        assert (answer.status_code, answer.url.path) == (200, "/account")
        assert f"Key of {email}" in answer.text

    def test_capitals_make_no_difference(self, browser, account, email):
        account.knows(email, email=email.upper())
        assert browser.sign_in(email).headers["location"] == "/today"

    def test_an_address_in_the_user_info_alone(self, browser, account, email):
        account.change = without_email
        assert browser.sign_in(email).headers["location"] == "/today"
        assert account.paths[-1] == "/userinfo"

    def test_a_token_for_several_services_that_names_this_one(self, browser, account, email):
        account.change = lambda claims: claims | {"aud": [CLIENT, "x"], "azp": CLIENT}
        assert browser.sign_in(email).headers["location"] == "/today"

    def test_the_earlier_session_of_the_browser_ends(self, browser, key):
        browser.client.post("/sign-in", data={"key": key["key"]},
                            headers={"Sec-Fetch-Site": "same-origin"})  # fmt: skip
        before = browser.client.cookies[SESSION]
        browser.sign_in(key["sign_in_email"])
        browser.client.cookies.set(SESSION, before, domain="127.0.0.1")
        assert browser.account_page().status_code == 303

    def test_another_process_of_the_service_ends_what_one_began(self, service, browser, email):
        back = browser.allowed(browser.asked(), email)
        service.kill()
        service.start()
        assert browser.client.get(back).headers["location"] == "/today"

    def test_the_audit_log_has_the_sign_in_and_no_address(self, lead, browser, key):
        browser.sign_in(key["sign_in_email"])
        asked = {"action": "signed_in", "key_id": key["id"]}
        (entry,) = lead.get("/v1/audit", params=asked).json()["items"]
        assert (entry["thing"], entry["thing_id"]) == ("access_key", key["id"])
        assert (entry["changes"], entry["reason"]) == (None, None)

    def test_a_revoked_key_ends_the_session(self, lead, browser, key):
        browser.sign_in(key["sign_in_email"])
        assert browser.account_page().status_code == 200
        change_key(lead, key, revoked=True)
        assert browser.account_page().status_code == 303

    def test_an_address_that_is_removed_ends_the_session(self, lead, browser, key):
        browser.sign_in(key["sign_in_email"])
        change_key(lead, key, sign_in_email=None)
        assert browser.account_page().status_code == 303
        assert is_refused(browser.sign_in(key["sign_in_email"]), 401, NO_KEY)
