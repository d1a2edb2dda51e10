"""One attempt to sign in with a school account, from the button to the way back.

The browser keeps one random secret in a cookie. State, nonce and PKCE verifier are derived from it,
together with the moment and the page to go to: nobody without that cookie can make any of them, and
a changed cookie fits no state. So nothing is stored here before somebody is signed in, and several
processes of a service need no common secret.
"""

import base64
import hashlib
import hmac
import re
import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Literal
from urllib.parse import quote, unquote

#: How long somebody may take at the provider. [s]
LONGEST_S = 600
COOKIE_FORM = re.compile(r"([A-Za-z0-9_-]{43})\.([0-9]{1,12})\.([A-Za-z0-9%_.~-]{1,900})")

Reason = Literal["unreachable", "declined", "stale", "wrong", "unverified", "unknown"]


class SignInFailed(Exception):
    """Nobody was signed in: the reason, and for the operator's log what exactly was wrong."""

    def __init__(self, reason: Reason, cause: str = "") -> None:
        super().__init__(f"{reason}: {cause}" if cause else reason)
        self.reason, self.cause = reason, cause


@dataclass(frozen=True, slots=True)
class Attempt:
    """One attempt; `secret` has 256 random bits."""

    secret: str
    begun_at_s: int
    #: The page to go to afterwards.
    onwards: str

    @property
    def cookie(self) -> str:
        """Return the text that the browser keeps until it comes back."""
        return f"{self.secret}.{self.begun_at_s}.{quote(self.onwards, safe='')}"

    @property
    def state(self) -> str:
        """Return what the provider sends back, and only this browser can have asked for."""
        return self._derived("state")

    @property
    def nonce(self) -> str:
        """Return what the ID token must repeat."""
        return self._derived("nonce")

    @property
    def verifier(self) -> str:
        """Return what redeems the code, known to nobody who sees an address."""
        return self._derived("verifier")

    @property
    def challenge(self) -> str:
        """Return the digest of the verifier that is sent ahead (RFC 7636, S256)."""
        return _text_of(hashlib.sha256(self.verifier.encode()).digest())

    def _derived(self, purpose: str) -> str:
        content = f"{purpose}\n{self.begun_at_s}\n{self.onwards}".encode()
        return _text_of(hmac.digest(self.secret.encode(), content, "sha256"))


def _text_of(digest: bytes) -> str:
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()


def begin(onwards: str, now: datetime) -> Attempt:
    """Begin an attempt that ends on a page of ours."""
    return Attempt(secrets.token_urlsafe(32), int(now.timestamp()), onwards)


def resumed(cookie: str, state: str, now: datetime) -> Attempt:
    """Return the attempt of a browser that came back; raise `SignInFailed` if it began none.

    >>> from datetime import UTC, timedelta
    >>> now = datetime(2026, 3, 5, tzinfo=UTC)
    >>> attempt = begin("/teams", now)
    >>> resumed(attempt.cookie, attempt.state, now).onwards
    '/teams'
    >>> resumed(attempt.cookie, attempt.state, now + timedelta(minutes=11))
    Traceback (most recent call last):
    ...
    api.services.access.school_account.attempts.SignInFailed: stale: too old
    """
    parts = COOKIE_FORM.fullmatch(cookie)
    if parts is None:
        raise SignInFailed("stale", "no cookie")
    attempt = Attempt(parts[1], int(parts[2]), unquote(parts[3]))
    if not hmac.compare_digest(attempt.state.encode(), state.encode("utf-8", "replace")):
        raise SignInFailed("stale", "other state")
    if not 0 <= now.timestamp() - attempt.begun_at_s <= LONGEST_S:
        raise SignInFailed("stale", "too old")
    return attempt
