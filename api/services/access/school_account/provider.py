"""The provider of school accounts, asked with the authorization code flow of OpenID Connect.

Specification: OpenID Connect Core 1.0 and Discovery 1.0. The provider's description is cached for
an hour; after a failure it is not asked again for some seconds, so that an unreachable provider
holds up nobody.
"""

import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote_plus, urlencode

import httpx
from joserfc.errors import InvalidKeyIdError, JoseError
from joserfc.jwk import KeySet
from pydantic import BaseModel

from api.models.core.fields import EMAIL
from api.services.access.school_account.attempts import Attempt, SignInFailed
from api.services.access.school_account.requests import Requests
from api.services.access.school_account.tokens import cause_of, require_meant_for, signed_claims
from api.settings import Settings

#: How long a description is used; and may be used by a token with an unknown key. [s]
DESCRIPTION_S, DESCRIPTION_WITHOUT_KEY_S = 3600, 60
#: How long the provider is not asked after a failure. [s]
AFTER_FAILURE_S = 10
CODE = re.compile(r"[\x20-\x7e]{1,4000}")
#: The providers' own names of errors (RFC 6749, 5.2), which may be logged.
ERROR_NAME = re.compile(r"[a-z_]{1,40}")


class Metadata(BaseModel):
    """A provider's description, as far as it is used (Discovery 1.0, 3)."""

    issuer: str
    authorization_endpoint: str
    token_endpoint: str
    jwks_uri: str
    userinfo_endpoint: str = ""
    token_endpoint_auth_methods_supported: list[str] = ["client_secret_basic"]

    @property
    def endpoints(self) -> Iterator[str]:
        """Yield all addresses, the optional one only if it is named."""
        yield from (self.authorization_endpoint, self.token_endpoint, self.jwks_uri)
        if self.userinfo_endpoint:
            yield self.userinfo_endpoint


@dataclass(frozen=True, slots=True)
class _Described:
    """The metadata and the keys of a provider, and when they were read."""

    metadata: Metadata
    keys: KeySet
    read_at_s: float


class Provider:
    """One provider, as it is used by one client."""

    def __init__(self, settings: Settings, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._issuer, self._client_id = settings.sign_in_issuer, settings.sign_in_client_id
        self._client_secret = settings.sign_in_secret
        self._clock_s, self._requests = clock_s, Requests(settings.sign_in_hosts)
        self._described: _Described | None = None
        self._failed_at_s = -float("inf")

    async def address_to_sign_in(self, attempt: Attempt, return_to: str) -> str:
        """Return the provider's page for an attempt, from which the browser returns here."""
        metadata = (await self._description()).metadata
        query = urlencode(
            {
                "response_type": "code",
                "scope": "openid email",
                "client_id": self._client_id,
                "redirect_uri": return_to,
                "state": attempt.state,
                "nonce": attempt.nonce,
                "code_challenge": attempt.challenge,
                "code_challenge_method": "S256",
            }
        )
        page = metadata.authorization_endpoint
        return f"{page}{'&' if '?' in page else '?'}{query}"

    async def email(self, attempt: Attempt, code: str, return_to: str) -> str:
        """Return the verified e-mail address of the person who signed in, in small letters."""
        answer = await self._redeemed(attempt, code, return_to)
        claims = await self._claims(str(answer.get("id_token", "")))
        require_meant_for(
            claims, issuer=self._issuer, client_id=self._client_id, nonce=attempt.nonce
        )
        if claims.get("email") is None:
            claims = await self._user_info(claims["sub"], str(answer.get("access_token", "")))
        address = claims.get("email")
        if claims.get("email_verified") is not True or not isinstance(address, str):
            raise SignInFailed("unverified")
        if not EMAIL.fullmatch(address):
            raise SignInFailed("unknown")
        return address.lower()

    async def _redeemed(self, attempt: Attempt, code: str, return_to: str) -> dict[str, Any]:
        """Redeem a code for tokens."""
        if not CODE.fullmatch(code):
            raise SignInFailed("wrong", "no code")
        metadata = (await self._description()).metadata
        fields = {
            "grant_type": "authorization_code",
            "code": code,
            "redirect_uri": return_to,
            "code_verifier": attempt.verifier,
        }
        status, answer = await self._requests.json(
            "POST", metadata.token_endpoint, **self._as_client(metadata, fields)
        )
        if status != 200:
            error = str(answer.get("error"))
            raise SignInFailed("wrong", error if ERROR_NAME.fullmatch(error) else str(status))
        return answer

    def _as_client(self, metadata: Metadata, fields: dict[str, str]) -> dict[str, Any]:
        """Return what to send so that the provider knows this service (RFC 6749, 2.3.1)."""
        if "client_secret_basic" in metadata.token_endpoint_auth_methods_supported:
            name_and_secret = quote_plus(self._client_id), quote_plus(self._client_secret)
            return {"data": fields, "auth": httpx.BasicAuth(*name_and_secret)}
        client = {"client_id": self._client_id, "client_secret": self._client_secret}
        return {"data": fields | client}

    async def _claims(self, token: str) -> dict[str, Any]:
        """Return the claims that the provider signed; read its keys again if one is new."""
        description = await self._description()
        try:
            try:
                return signed_claims(token, description.keys)
            except InvalidKeyIdError:
                description = await self._description(DESCRIPTION_WITHOUT_KEY_S)
                return signed_claims(token, description.keys)
        except JoseError as error:
            raise SignInFailed("wrong", cause_of(error)) from error

    async def _user_info(self, subject: str, access_token: str) -> dict[str, Any]:
        """Return the claims of a provider that leaves the e-mail address out of the ID token."""
        metadata = (await self._description()).metadata
        if not metadata.userinfo_endpoint:
            return {}
        headers = {"Authorization": f"Bearer {access_token}"}
        status, claims = await self._requests.json(
            "GET", metadata.userinfo_endpoint, headers=headers
        )
        if status != 200 or claims.get("sub") != subject:
            raise SignInFailed("wrong", "another person in the user info")
        return claims

    async def _description(self, longest_s: float = DESCRIPTION_S) -> _Described:
        """Return the provider's description, not older than this time."""
        now_s = self._clock_s()
        if self._described and now_s - self._described.read_at_s < longest_s:
            return self._described
        if now_s - self._failed_at_s < AFTER_FAILURE_S:
            raise SignInFailed("unreachable", "failed a moment ago")
        try:
            self._described = await self._read_description(now_s)
        except SignInFailed:
            self._failed_at_s = self._clock_s()
            raise
        return self._described

    async def _read_description(self, now_s: float) -> _Described:
        about = f"{self._issuer.rstrip('/')}/.well-known/openid-configuration"
        try:
            metadata = Metadata.model_validate(await self._found(about))
            if metadata.issuer != self._issuer:
                raise SignInFailed("unreachable", "another issuer in its description")
            for address in metadata.endpoints:
                self._requests.require_known(address)
            found = await self._found(metadata.jwks_uri)
            keys = KeySet.import_key_set({"keys": found["keys"]})
        except (JoseError, KeyError, TypeError, ValueError) as error:
            raise SignInFailed("unreachable", "a description that cannot be read") from error
        return _Described(metadata, keys, now_s)

    async def _found(self, address: str) -> dict[str, Any]:
        status, found = await self._requests.json("GET", address)
        if status != 200:
            raise SignInFailed("unreachable", f"status {status}")
        return found
