"""Ask a provider for JSON: only its own hosts, over https, within a time, up to a size."""

import json
from typing import Any

import anyio
import httpx

from api.services.access.school_account.attempts import SignInFailed
from api.settings import host_of

#: How long one answer may take, with its waiting for others. [s]
LONGEST_ANSWER_S = 8
MOST_BYTES = 300_000
#: Requests at once: what visitors without a key can make this service send.
AT_ONCE = 8


class Requests:
    """Requests to one provider, which has these hosts and no others."""

    def __init__(self, hosts: frozenset[str]) -> None:
        self._hosts = hosts
        # Reading the certificates takes longer than a request.
        self._certificates = httpx.create_ssl_context()
        self._turns = anyio.CapacityLimiter(AT_ONCE)

    async def json(self, method: str, address: str, **sent: Any) -> tuple[int, dict[str, Any]]:
        """Return the status and the object of an answer; follow no redirect.

        Raise `SignInFailed` without a complete answer, or with one about a fault of the provider.
        """
        self.require_known(address)
        try:
            with anyio.fail_after(LONGEST_ANSWER_S):
                async with self._turns:
                    status, body = await self._answer(method, address, sent)
            found = json.loads(body)
        except TimeoutError as error:
            raise SignInFailed("unreachable", "no answer in time") from error
        except (httpx.HTTPError, httpx.InvalidURL, OSError) as error:
            raise SignInFailed("unreachable", type(error).__name__) from error
        except (ValueError, RecursionError) as error:
            raise SignInFailed("unreachable", "an answer that is no JSON") from error
        if status >= 500 or not isinstance(found, dict):
            raise SignInFailed("unreachable", f"status {status} without an object")
        return status, found

    def require_known(self, address: str) -> None:
        """Refuse an address that is not on a host of the provider."""
        host = host_of(address)
        if not host:
            raise SignInFailed("unreachable", "an address without https")
        if host not in self._hosts:
            raise SignInFailed("unreachable", f"an address on another host: {host[:100]}")

    async def _answer(self, method: str, address: str, sent: dict[str, Any]) -> tuple[int, bytes]:
        """Return the status and the body of an answer, not unpacked."""
        accepted = {"Accept": "application/json", "Accept-Encoding": "identity"}
        headers = accepted | sent.pop("headers", {})
        body = bytearray()
        async with (
            httpx.AsyncClient(verify=self._certificates) as client,
            client.stream(method, address, headers=headers, **sent) as answer,
        ):
            async for part in answer.aiter_raw():
                body += part
                if len(body) > MOST_BYTES:
                    raise SignInFailed("unreachable", "an answer that is too large")
        return answer.status_code, bytes(body)
