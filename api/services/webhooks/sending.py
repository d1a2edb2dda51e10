"""Send one message: to the address itself, once, within ten seconds, reading no body.

Redirects are not followed and no proxy is used, so nothing but the host that the operator named is
called. All waiting happens in the event loop: a slow receiver holds no thread, no connection to the
database and no writer's turn.
"""

import ssl
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING, Literal

import anyio
import anyio.to_thread

from api.services.webhooks.signatures import headers
from api.webhook_hosts import Hosts

if TYPE_CHECKING:
    import httpx

TIMEOUT_S = 10.0
#: The longest that a receiver may ask us to wait for with Retry-After. [s]
LONGEST_WAIT_S = 86_400.0
GONE = 410
SAMPLES_AT_ONCE = 4
Fault = Literal["status", "redirect", "timeout", "unreachable", "host", "gone"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of sending a message: delivered if there is no fault."""

    status_code: int | None = None
    fault: Fault | None = None
    retry_after_s: float = 0.0


class WebhookClient:
    """Sends messages over HTTP; what that needs is loaded for the first one."""

    def __init__(self, timeout_s: float = TIMEOUT_S) -> None:
        self._timeout_s = timeout_s
        self._http: httpx.AsyncClient | None = None
        self._loading = anyio.Lock()

    async def send(self, url: str, secret: str, message_id: str, body: bytes) -> Outcome:
        """Sign and send a message; return what came of it."""
        import httpx

        http, now = await self._loaded(), datetime.now(UTC)
        signed = headers(secret, message_id, now, body)
        try:
            with anyio.fail_after(self._timeout_s):
                async with http.stream("POST", url, content=body, headers=signed) as answer:
                    return outcome_of(answer.status_code, answer.headers.get("retry-after"), now)
        except (TimeoutError, httpx.TimeoutException):
            return Outcome(fault="timeout")
        except (httpx.HTTPError, httpx.InvalidURL, OSError):
            return Outcome(fault="unreachable")

    async def _loaded(self) -> "httpx.AsyncClient":
        """Return the client; reading the authorities' certificates takes a while, in a thread."""
        async with self._loading:
            if self._http is None:
                self._http = await anyio.to_thread.run_sync(_client, self._timeout_s)
            return self._http

    async def close(self) -> None:
        """Close what was opened."""
        if self._http is not None:
            await self._http.aclose()


class Webhooks:
    """What an application has for its webhooks: the hosts that they may call, and a client."""

    def __init__(self, hosts: Hosts) -> None:
        self.hosts, self.client = hosts, WebhookClient()
        #: Limits the test messages that are sent at the same time.
        self.samples = anyio.Semaphore(SAMPLES_AT_ONCE)


def _client(timeout_s: float) -> "httpx.AsyncClient":
    """Return a client that trusts the authorities of this machine, and the usual ones."""
    import certifi
    import httpx

    trusted = ssl.create_default_context()
    trusted.load_verify_locations(certifi.where())
    return httpx.AsyncClient(
        verify=trusted,
        timeout=timeout_s,
        follow_redirects=False,
        trust_env=False,
        limits=httpx.Limits(max_keepalive_connections=0),
        headers={"User-Agent": "Gustbook"},
    )


def outcome_of(status_code: int, retry_after: str | None, now: datetime) -> Outcome:
    """Return what an answer means: only a 2xx is a delivery.

    >>> outcome_of(204, None, datetime.now(UTC)).fault
    >>> outcome_of(503, "120", datetime.now(UTC))
    Outcome(status_code=503, fault='status', retry_after_s=120.0)
    """
    wait = min(_seconds(retry_after, now), LONGEST_WAIT_S)
    if 200 <= status_code < 300:
        return Outcome(status_code)
    if status_code == GONE:
        return Outcome(status_code, "gone")
    is_redirect = 300 <= status_code < 400
    return Outcome(status_code, "redirect" if is_redirect else "status", wait)


def _seconds(retry_after: str | None, now: datetime) -> float:
    """Return the seconds that a Retry-After asks for (RFC 9110, 10.2.3); 0 if it says nothing."""
    text = (retry_after or "").strip()[:40]
    if text.isascii() and text.isdigit():
        return float(text)
    try:
        until = parsedate_to_datetime(text)
    except (ValueError, OverflowError):  # no date, or one in a year that no calendar has
        return 0.0
    aware = until if until.tzinfo else until.replace(tzinfo=UTC)
    return max(0.0, (aware - now).total_seconds())
