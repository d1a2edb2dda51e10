"""Load the pages at the first request for one, so that a service for scripts starts sooner."""

from collections.abc import Callable

import anyio
import anyio.to_thread
from starlette.types import ASGIApp, Receive, Scope, Send

#: The first parts of addresses for programs; all others may be pages.
FOR_PROGRAMS = ("/v1/", "/openapi.json", "/healthz", "/readyz", "/metrics")


class PagesOnDemand:
    """Pure ASGI that includes the pages before the first request that may be for one."""

    def __init__(self, app: ASGIApp, include: Callable[[], None]) -> None:
        self.app, self._include = app, include
        self._is_included, self._turn = False, anyio.Lock()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if not self._is_included and _may_be_page(scope):
            await self._load()
        await self.app(scope, receive, send)

    async def _load(self) -> None:
        async with self._turn:
            if not self._is_included:
                await anyio.to_thread.run_sync(self._include)
                self._is_included = True


def _may_be_page(scope: Scope) -> bool:
    return scope["type"] == "http" and not scope["path"].startswith(FOR_PROGRAMS)
