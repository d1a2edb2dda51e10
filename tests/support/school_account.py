"""Accounts of a school: a real OpenID provider on a port, whose answers a test may change."""

import io
import json
import threading
import warnings
from contextlib import contextmanager

import werkzeug.serving
from joserfc import jwt
from joserfc.jwk import KeySet, RSAKey
from werkzeug.wrappers import Request, Response

with warnings.catch_warnings(record=True):  # about modules that the package still uses
    import oidc_provider_mock
    from authlib.oauth2.rfc7636 import create_s256_code_challenge

CLIENT, SECRET = "gustbook", "a secret/with: signs"


class SchoolAccount:
    """A provider that also demands PKCE, which the package does not, and notes what it is asked.

    `change` gets the claims of each ID token and may change them, `sign` signs them, and `answer`
    may answer for a path in place of the provider. Tokens are signed again with a key of the
    test's own, since nobody is given the package's.
    """

    def __init__(self):
        self._app = oidc_provider_mock.app(require_nonce=True)
        self._people = self._app.test_client()
        self._challenges = set()
        self.own_key = RSAKey.generate_key(2048, {"kid": "own"})
        self.reset()

    def reset(self):
        """Be a provider without faults again."""
        self.change, self.sign, self.answer = dict, self.signed, lambda path: None
        self.paths = []

    def knows(self, person, /, **claims):
        """Let somebody have an account; the address is verified unless the test says otherwise."""
        about = {"email": person, "email_verified": True} | claims
        self._people.put(f"/users/{person}", json=about)

    def signed(self, claims, key=None, **header):
        """Return a token signed with the provider's key, or with another one."""
        return jwt.encode({"alg": "RS256", "kid": "own"} | header, claims, key or self.own_key)

    def __call__(self, environ, start):
        """Answer one request (WSGI)."""
        request = Request(environ)
        self.paths.append(request.path)
        special = {"/jwks": self._keys, "/oauth2/token": self._token}
        answer = self.answer(request.path) or special.get(request.path, self._from_package)(request)
        return answer(environ, start)

    def _from_package(self, request):
        if request.path == "/oauth2/authorize":
            assert request.args["code_challenge_method"] == "S256"
            self._challenges.add(request.args["code_challenge"])
        return Response.from_app(self._app, request.environ)

    def _keys(self, request):
        return as_json({"keys": [self.own_key.as_dict(private=False)]})

    def _token(self, request):
        body = request.get_data(parse_form_data=False)
        environ = request.environ | {"wsgi.input": io.BytesIO(body)}
        verifier = Request(environ | {"wsgi.input": io.BytesIO(body)}).form["code_verifier"]
        if create_s256_code_challenge(verifier) not in self._challenges:
            return as_json({"error": "invalid_grant"}, 400)
        answer = Response.from_app(self._app, environ)
        if answer.status_code != 200:
            return answer
        sent = json.loads(answer.get_data())
        keys = KeySet.import_key_set(self._people.get("/jwks").get_json())
        claims = jwt.decode(sent["id_token"], keys).claims
        return as_json(sent | {"id_token": self.sign(self.change(claims))})


def as_json(sent, status=200):
    return Response(json.dumps(sent), status, content_type="application/json")


@contextmanager
def on_a_port(account):
    """Run a provider on a port of this machine; yield its address."""
    server = werkzeug.serving.make_server("127.0.0.1", 0, account, threaded=True)
    thread = threading.Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    try:
        # Another name than the service's, so that neither gets the other's cookies.
        yield f"http://localhost:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
