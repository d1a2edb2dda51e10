"""Call any address of the service: JSON in and out, and lists."""

from collections.abc import Iterator
from functools import cached_property
from typing import Any

import httpx

from .cache import AnswerCache
from .connection import Connection, address_of
from .errors import NO_REASON, Unavailable

PAGE_LIMIT = 200
Thing = dict[str, Any]


class Calls(Connection):
    """Calls of any address, for what has no method of its own."""

    @cached_property
    def _cache(self) -> AnswerCache:
        return AnswerCache()

    def get(self, path: str, **parameters: Any) -> Any:
        """Return the JSON of an address."""
        return _json(self.request("GET", path, params=parameters))

    def post(self, path: str, body: Any = None, **parameters: Any) -> Any:
        """Send JSON to an address and return the answer's; a retry stores nothing twice."""
        return _json(self.request("POST", path, json=body, params=parameters))

    def each(self, path: str, **filters: Any) -> Iterator[Thing]:
        """Yield each thing of a list, oldest first; pages are fetched as they are needed.

        Every list takes `sort` (such as "-created_at" for the newest first, or "name"), `fields`
        (only these), and `expand` (show what an id points at), besides its own filters.

        Examples
        --------
        >>> teams = gustbook.each("/v1/teams", sort="name", fields=["name"], expand="organisation")
        >>> next(teams)["organisation"]["name"]
        'Quillmere Lower'
        """
        cursor: str | None = None
        while True:
            page = self._page(path, {"limit": PAGE_LIMIT} | filters | {"cursor": cursor})
            yield from page["items"]
            cursor = page["next"]
            if cursor is None:
                return

    def _page(self, path: str, parameters: Thing) -> Any:
        """Return a page of a list; one that has not changed since is not sent again.

        Only pages are cached: they are long, and scripts read them again and again.
        """
        address = address_of(path, parameters)
        condition = self._cache.condition(address)
        answer = self.request("GET", path, params=parameters, headers=condition)
        return _json(self._cache.newest(address, answer))

    def count(self, path: str, **filters: Any) -> int:
        """Return how many things a list has.

        >>> gustbook.count("/v1/teams")
        24
        """
        total: int = self.get(path, **filters, limit=1, total=True)["total"]
        return total


def _json(answer: httpx.Response) -> Any:
    try:
        return answer.json()
    except ValueError as error:
        raise Unavailable(NO_REASON, status=answer.status_code) from error
