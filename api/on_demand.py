"""Load parts of the application at the first request for one, so that a service starts sooner."""

from collections.abc import Callable
from threading import Lock

import anyio.to_thread
from starlette.types import ASGIApp, Receive, Scope, Send

#: The first parts of addresses for programs; all others may be pages.
RESOURCES = "/v1/"
FOR_PROGRAMS = (RESOURCES, "/openapi.json", "/healthz", "/readyz", "/metrics")


class Once:
    """Work that is done once, for the first who needs it; others wait until it is done."""

    def __init__(self, work: Callable[[], None]) -> None:
        self._work, self._turn, self.is_done = work, Lock(), False

    def __call__(self) -> None:
        """Do the work, unless it is done."""
        with self._turn:
            if not self.is_done:
                self._work()
                self.is_done = True


class OnDemand:
    """Pure ASGI that loads a part of the application before the first request that may need it."""

    def __init__(self, app: ASGIApp, load: Once, may_need: Callable[[str], bool]) -> None:
        self.app, self._load, self._may_need = app, load, may_need

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if not self._load.is_done and scope["type"] == "http" and self._may_need(scope["path"]):
            await anyio.to_thread.run_sync(self._load)
        await self.app(scope, receive, send)


def may_be_page(path: str) -> bool:
    """Tell whether an address may be a page."""
    return not path.startswith(FOR_PROGRAMS)


def may_be_resource(path: str) -> bool:
    """Tell whether an address may be a resource of the API."""
    return path.startswith(RESOURCES)
