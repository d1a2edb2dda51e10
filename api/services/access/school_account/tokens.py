"""Verify an ID token: who signed it, for whom, for which attempt, and until when."""

from collections.abc import Mapping
from typing import Any

from joserfc import jwt
from joserfc.errors import DecodeError, JoseError
from joserfc.jwk import KeySet

from api.services.access.school_account.attempts import SignInFailed

#: Only signatures with a private key. A shared secret (HS256) would let anyone sign who knows the
#: client's secret, or who passes the public key off as one.
ALGORITHMS = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512",
              "Ed25519")  # fmt: skip
#: How far the clocks of two machines may differ. [s]
CLOCKS_S = 60


def signed_claims(token: str, keys: KeySet) -> dict[str, Any]:
    """Return the claims of a token with a valid signature; raise joserfc's error otherwise."""
    try:
        return dict(jwt.decode(token, keys, algorithms=ALGORITHMS).claims)
    except (TypeError, ValueError, RecursionError) as error:  # a header or claims of an odd form
        raise DecodeError("a form that is not read") from error


def require_meant_for(
    claims: Mapping[str, Any], *, issuer: str, client_id: str, nonce: str
) -> None:
    """Refuse claims of another issuer, for another client or attempt, or out of date.

    OpenID Connect Core 1.0, 3.1.3.7: an ID token for several clients names the one that asked.
    """
    registry = jwt.JWTClaimsRegistry(
        leeway=CLOCKS_S,
        iss={"essential": True, "value": issuer},
        sub={"essential": True},
        aud={"essential": True, "value": client_id},
        azp={"essential": _is_for_others_too(claims), "value": client_id},
        exp={"essential": True},
        iat={"essential": True},
        nonce={"essential": True, "value": nonce},
    )
    try:
        registry.validate(dict(claims))
    except JoseError as error:
        raise SignInFailed("wrong", cause_of(error)) from error


def _is_for_others_too(claims: Mapping[str, Any]) -> bool:
    audience = claims.get("aud")
    return isinstance(audience, list) and len(audience) > 1


def cause_of(error: JoseError) -> str:
    """Return what is wrong with a token in words for the log, without any value of it."""
    return f"{error.error} {getattr(error, 'claim', '')}".strip()
