"""Providers of school accounts: servers on ports, with and without faults."""

import json
import time
from datetime import UTC, datetime

import anyio
import httpx
import pytest
from joserfc import jwt
from joserfc.jwk import RSAKey
from werkzeug.wrappers import Request, Response

from api.services.access.school_account import attempts
from api.services.access.school_account.attempts import SignInFailed
from api.services.access.school_account.provider import Provider
from api.settings import Settings
from tests.support.school_account import oidc_provider_mock, on_a_port

#: What the provider's package still uses of another package.
pytestmark = pytest.mark.filterwarnings("ignore:get_jwt_config:DeprecationWarning")
ABOUT = "/.well-known/openid-configuration"
BACK = "https://gustbook.test/sign-in/school/back"
ANOTHER_HOST = "an address on another host: "


class Described:
    """A provider of fixed answers by path."""

    def __init__(self):
        self.answers, self.paths, self.sent = {}, [], []
        self.key = RSAKey.generate_key(2048, {"kid": "k"})

    def describe(self, **changed):
        here = self.issuer
        about = {"issuer": here, "authorization_endpoint": f"{here}/page?x=1",
                 "token_endpoint": f"{here}/token", "jwks_uri": f"{here}/keys"}  # fmt: skip
        self.answers = {ABOUT: about | changed, "/keys": keys_of(self.key)}

    def __call__(self, environ, start):
        request = Request(environ)
        self.paths.append(request.path)
        self.sent.append((request.form.to_dict(), request.authorization))
        found = self.answers[request.path]
        sent = found if isinstance(found, Response) else Response(json.dumps(found))
        return sent(environ, start)


def keys_of(key):
    return {"keys": [key.as_dict(private=False)]}


@pytest.fixture(scope="module")
def port():
    server = Described()
    with on_a_port(server) as server.issuer:
        yield server


@pytest.fixture
def server(port):
    port.describe()
    port.paths.clear()
    return port


class Clock:
    def __init__(self):
        self.now_s = 0.0

    def __call__(self):
        return self.now_s


def begun(issuer, clock=time.monotonic, **more):
    asked = {"sign_in_client_id": "gustbook", "sign_in_client_secret": "secret"} | more
    return Provider(Settings(sign_in_issuer=issuer, **asked), clock)


def page_of(provider):
    attempt = attempts.begin("/today", datetime.now(UTC))
    return anyio.run(provider.address_to_sign_in, attempt, BACK)


def failure(provider):
    with pytest.raises(SignInFailed) as failed:
        page_of(provider)
    assert failed.value.reason == "unreachable"
    return failed.value.cause


class TestRefused:
    @pytest.mark.parametrize(
        ("changed", "cause"),
        [
            ({"issuer": "https://another.example"}, "another issuer in its description"),
            ({"authorization_endpoint": "http://sso.example/page"}, "an address without https"),
            ({"authorization_endpoint": "javascript:alert(1)"}, "an address without https"),
            ({"jwks_uri": "http://sso.example/keys"}, "an address without https"),
            ({"jwks_uri": "file:///etc/passwd"}, "an address without https"),
            ({"jwks_uri": "https://[broken"}, "an address without https"),
            ({"token_endpoint": None}, "a description that cannot be read"),
            ({"token_endpoint": "https://evil.example/token"}, f"{ANOTHER_HOST}evil.example"),
            ({"userinfo_endpoint": "https://localhost/x"}, f"{ANOTHER_HOST}localhost"),
            ({"jwks_uri": "https://sso@evil.example/keys"}, f"{ANOTHER_HOST}sso@evil.example"),
            ({"authorization_endpoint": "https://e.example/p"}, f"{ANOTHER_HOST}e.example"),
            ({"token_endpoint_auth_methods_supported": 7}, "a description that cannot be read"),
        ],
    )
    def test_a_description_that_leads_elsewhere(self, changed, cause, server):
        server.describe(**changed)
        assert failure(begun(server.issuer)) == cause
        assert server.paths == [ABOUT]

    @pytest.mark.parametrize(
        "keys", [{}, {"keys": 5}, {"keys": [5]}, {"keys": []}, {"keys": [{"kty": "x"}]},
                 {"keys": [{"kty": "RSA", "n": "!", "e": "AQAB"}]}],
    )  # fmt: skip
    def test_keys_that_are_none(self, keys, server):
        server.answers["/keys"] = keys
        assert failure(begun(server.issuer)) == "a description that cannot be read"

    @pytest.mark.parametrize(
        ("answer", "cause"),
        [
            (lambda: Response("", 302, headers={"Location": "/keys"}), "an answer that is no JSON"),
            (lambda: Response("[" * 200_000), "an answer that is no JSON"),
            (lambda: Response('{"x": "' + "y" * 400_000), "an answer that is too large"),
            (lambda: Response("{}", 404), "status 404"),
            (lambda: Response("{}", 503), "status 503 without an object"),
        ],
    )
    def test_an_answer_that_is_no_description(self, answer, cause, server):
        server.answers[ABOUT] = answer()
        assert failure(begun(server.issuer)) == cause

    def test_an_answer_that_never_ends(self, server, monkeypatch):
        def drops():
            for _ in range(100):
                yield b" "
                time.sleep(0.02)

        monkeypatch.setattr("api.services.access.school_account.requests.LONGEST_ANSWER_S", 0.2)
        server.answers[ABOUT] = Response(drops())
        before = time.monotonic()
        assert failure(begun(server.issuer)) == "no answer in time"
        assert time.monotonic() - before < 1

    def test_nobody_there(self):
        assert failure(begun("http://127.0.0.1:9")) == "ConnectError"

    def test_after_a_failure_it_is_not_asked_for_ten_seconds(self, server):
        clock = Clock()
        provider = begun(server.issuer, clock)
        server.answers[ABOUT] = Response("{}", 404)
        assert failure(provider) == "status 404"
        server.describe()
        clock.now_s = 9
        assert failure(provider) == "failed a moment ago"
        assert server.paths == [ABOUT]
        clock.now_s = 11
        assert page_of(provider)


def test_a_description_is_kept_for_an_hour(server):
    clock = Clock()
    provider = begun(server.issuer, clock)
    assert page_of(provider).startswith(f"{server.issuer}/page?x=1&response_type=code&")
    clock.now_s = 3599
    page_of(provider)
    assert server.paths == [ABOUT, "/keys"]
    clock.now_s = 3601
    page_of(provider)
    assert server.paths == [ABOUT, "/keys"] * 2


def test_other_hosts_of_a_provider_that_the_operator_named(server):
    server.describe(token_endpoint="https://tokens.school.test/x")
    named = "x.school.test, Tokens.school.test"
    assert page_of(begun(server.issuer, sign_in_other_hosts=named))


def test_a_provider_whose_tokens_name_no_key():
    """The package as it is: it has one key."""
    people = [oidc_provider_mock.User(
        sub="c", claims={"email": "Coach@School.example", "email_verified": True})]  # fmt: skip
    with on_a_port(oidc_provider_mock.app(user_claims=people)) as issuer:
        provider = begun(issuer)
        attempt = attempts.begin("/today", datetime.now(UTC))
        page = anyio.run(provider.address_to_sign_in, attempt, BACK)
        back = httpx.URL(httpx.post(page, data={"sub": "c"}).headers["location"])
        email = anyio.run(provider.email, attempt, back.params["code"], BACK)
    assert email == "coach@school.example"


def id_token(server, attempt, key):
    now_s = int(time.time())
    claims = {"iss": server.issuer, "aud": "gustbook", "sub": "c", "iat": now_s, "email": "c@x.y",
              "exp": now_s + 60, "nonce": attempt.nonce, "email_verified": True}  # fmt: skip
    return jwt.encode({"alg": "RS256", "kid": key.kid}, claims, key)


def test_new_keys_are_read_when_a_token_names_one(server):
    clock, new_key = Clock(), RSAKey.generate_key(2048, {"kid": "new"})
    provider = begun(server.issuer, clock)
    attempt = attempts.begin("/today", datetime.now(UTC))
    server.answers["/token"] = {"id_token": id_token(server, attempt, new_key)}
    anyio.run(provider.address_to_sign_in, attempt, BACK)
    server.answers["/keys"] = keys_of(new_key)
    with pytest.raises(SignInFailed, match="wrong: invalid_key_id"):
        anyio.run(provider.email, attempt, "x", BACK)
    clock.now_s = 61
    assert anyio.run(provider.email, attempt, "x", BACK) == "c@x.y"


@pytest.mark.parametrize(
    ("way", "in_form", "in_header"),
    [
        ("client_secret_basic", {}, ("gustbook", "s%3A+%2F%3F")),
        ("client_secret_post", {"client_id": "gustbook", "client_secret": "s: /?"}, None),
    ],
)
def test_how_the_service_says_who_it_is(way, in_form, in_header, server):
    """RFC 6749, 2.3.1: name and secret are encoded as in a form before they go into a header."""
    server.describe(token_endpoint_auth_methods_supported=[way])
    attempt = attempts.begin("/today", datetime.now(UTC))
    server.answers["/token"] = {"id_token": id_token(server, attempt, server.key)}
    provider = begun(server.issuer, sign_in_client_secret="s: /?")
    assert anyio.run(provider.email, attempt, "x", BACK) == "c@x.y"
    form, header = server.sent[-1]
    asked = {"grant_type": "authorization_code", "code": "x", "redirect_uri": BACK}
    assert form == asked | {"code_verifier": attempt.verifier} | in_form
    assert (header and (header.username, header.password)) == in_header
