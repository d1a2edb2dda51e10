"""Send requests to a Gustbook service, with an access key, again if that is safe."""

import secrets
import time
from collections.abc import Mapping
from types import TracebackType
from typing import Any, Self

import httpx

from .access import read_key, require_usable, service_url
from .errors import Unavailable, WrongUse, refusal_of
from .retries import IDEMPOTENCY_KEY, tries_of, wait_s

TIMEOUT_S = 120


class Connection:
    """A connection to one service with one access key; close it, or use it in a `with`.

    Parameters
    ----------
    url
        Address of the service; by default GUSTBOOK_URL, or else http://127.0.0.1:8000.
    key
        Access key; by default GUSTBOOK_KEY, or else the private file ~/.config/gustbook/key (or the
        one that GUSTBOOK_KEY_FILE names). Do not write it into a notebook that others get.
    transport
        What sends the requests, for tests.
    """

    def __init__(
        self,
        url: str | None = None,
        key: str | None = None,
        *,
        transport: httpx.BaseTransport | None = None,
    ) -> None:
        self.url = url or service_url()
        key = read_key() if key is None else key.strip()
        require_usable(self.url, key)
        headers = {"Authorization": f"Bearer {key}"}
        self._http = httpx.Client(
            base_url=self.url, headers=headers, timeout=TIMEOUT_S, transport=transport
        )

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.url!r})"  # the key is not shown

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection."""
        self._http.close()

    def request(
        self,
        method: str,
        path: str,
        *,
        params: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
        **request: Any,
    ) -> httpx.Response:
        """Send any request and return its answer; `request` is what httpx takes.

        A GET, and a POST, which always has an Idempotency-Key, are sent up to five times if the
        connection is lost or the service is busy, after the time that the service asks for. Any
        other request is sent once. Parameters that are None are left out, and several values of one
        are joined by commas.

        Raises
        ------
        WrongUse
            If the path is an address of another host, which would get the key.
        GustbookError
            If the service refuses, or cannot be reached.
        """
        own_headers = {IDEMPOTENCY_KEY: secrets.token_hex(16)} if method == "POST" else {}
        all_headers = own_headers | dict(headers or {})
        request["headers"], address = all_headers, address_of(path, params or {})
        tries, attempt = tries_of(method, all_headers), 1
        while True:
            try:
                return self._answer(method, address, is_safe_again=tries > 1, **request)
            except Unavailable as error:
                seconds = wait_s(error.status, error.retry_after_s, attempt)
                if attempt == tries or seconds is None:
                    raise
            time.sleep(seconds)
            attempt += 1

    def _answer(
        self, method: str, address: str, *, is_safe_again: bool, **request: Any
    ) -> httpx.Response:
        """Send a request once; return its answer if it is a success."""
        try:
            answer = self._http.request(method, address, **request)
        except httpx.RequestError as error:
            advice = "Try again when it is back: nothing is stored twice." if is_safe_again else (
                "It may have been stored: look before you send it again."
            )  # fmt: skip
            raise Unavailable(f"{self.url} cannot be reached: {error}. {advice}") from error
        if answer.is_success or answer.status_code == httpx.codes.NOT_MODIFIED:
            return answer
        raise refusal_of(answer)


def address_of(path: str, parameters: Mapping[str, Any]) -> str:
    """Return a path of the service with its own query, if it has one, and the parameters.

    >>> address_of("/v1/trials?state=held", {"limit": 5})
    '/v1/trials?state=held&limit=5'
    >>> address_of("https://elsewhere.example/v1/trials", {})
    Traceback (most recent call last):
    client.errors.WrongUse: https://elsewhere.example/v1/trials is not a path such as /v1/teams
    """
    if not path.startswith("/") or path.startswith("//"):
        raise WrongUse(f"{path} is not a path such as /v1/teams")
    try:
        return str(httpx.URL(path).copy_merge_params(_query_of(parameters)))
    except httpx.InvalidURL as error:
        raise WrongUse(f"{path!r} is not a path: {error}") from error


def _query_of(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """Return the parameters that are not None; several values are joined by commas."""
    return {
        name: ",".join(value) if isinstance(value, list | tuple) else value
        for name, value in parameters.items()
        if value is not None
    }
