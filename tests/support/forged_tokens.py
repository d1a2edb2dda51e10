"""ID tokens that the provider of school accounts did not sign, or that say odd things."""

import json
from base64 import urlsafe_b64encode
from functools import cache

from joserfc import jws, jwt
from joserfc.jwk import OctKey, RSAKey

from tests.support.school_account import SECRET


@cache
def forged_key():
    return RSAKey.generate_key(2048)


def with_secret(account, secret):
    return lambda claims: jwt.encode(
        {"alg": "HS256", "kid": "own"}, claims, OctKey.import_key(secret), algorithms=["HS256"]
    )


FORGERIES = {
    "none": lambda account: unsigned,
    "public key as a secret": lambda account: with_secret(
        account, account.own_key.as_pem(private=False).replace(b"-----", b"")
    ),
    "client's secret": lambda account: with_secret(account, SECRET),
    "another key": lambda account: lambda claims: account.signed(claims, forged_key(), kid="new"),
    "another key of its name": lambda account: lambda claims: account.signed(claims, forged_key()),
    "its own key in the token": lambda account: in_the_token,
    "no token": lambda account: lambda claims: None,
    "odd header": lambda account: lambda claims: unsigned(claims, alg="RS256", crit=5),
    "deep claims": lambda account: (
        lambda claims: jws.serialize_compact(
            {"alg": "RS256", "kid": "own"}, b'{"a":' * 10_000, account.own_key
        )
    ),
}


def unsigned(claims, **header):
    head, body = (urlsafe_b64encode(json.dumps(each).encode()).decode().rstrip("=")
                  for each in ({"alg": "none"} | header, claims))  # fmt: skip
    return f"{head}.{body}."


def in_the_token(claims):
    return jwt.encode(
        {"alg": "RS256", "jwk": forged_key().as_dict(private=False)}, claims, forged_key()
    )
