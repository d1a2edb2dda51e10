"""Serve the application below a path of a host; inside, addresses begin at the root of it."""

import re

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Addresses of this service in a page: `"` in text is escaped, so text never looks like one.
IN_PAGES = re.compile(rb'(\s(?:action|formaction|href|src)=")(?=/(?!/))')
#: The address of the page about a refusal, the first member of its problem details.
IN_PROBLEMS = re.compile(rb'(\A\{"type": ?")(?=/problems/)')
IN_LINKS = re.compile(r"(<)(?=/)")
REWRITTEN = {"text/html": IN_PAGES, "application/problem+json": IN_PROBLEMS}


class BelowPath:
    """Pure ASGI around the application, which knows only addresses at the root of a host.

    A request may have the path, or a proxy may have removed it. Addresses in pages, redirects and
    links of an answer get the path.
    """

    def __init__(self, app: ASGIApp, path: str) -> None:
        self.app, self.path = app, path

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "http":
            scope["path"] = _without(self.path, scope["path"])
            send = _Answer(send, self.path).send
        await self.app(scope, receive, send)


def _without(path: str, address: str) -> str:
    """Return an address without the path before it.

    >>> _without("/wind", "/wind/today"), _without("/wind", "/today"), _without("/wind", "/wind")
    ('/today', '/today', '/')
    >>> _without("/wind", "/windows")
    '/windows'
    """
    if address == path or address.startswith(f"{path}/"):
        return address.removeprefix(path) or "/"
    return address


class _Answer:
    """One answer; its start is held until the length of a rewritten body is known."""

    def __init__(self, send: Send, path: str) -> None:
        self._send, self._path = send, path
        self._held: tuple[Message, re.Pattern[bytes]] | None = None
        self._body = bytearray()

    async def send(self, message: Message) -> None:
        """Pass a message on, with the path in the addresses of this service."""
        if message["type"] == "http.response.start":
            await self._begin(message)
        elif self._held is None:
            await self._send(message)
        else:
            self._body += message.get("body", b"")
            if not message.get("more_body", False):
                await self._finish(*self._held)

    async def _begin(self, start: Message) -> None:
        headers = MutableHeaders(scope=start)
        if headers.get("location", "").startswith("/"):
            headers["location"] = self._path + headers["location"]
        if "link" in headers:
            headers["link"] = IN_LINKS.sub(rf"\1{self._path}", headers["link"])
        pattern = REWRITTEN.get(headers.get("content-type", "").partition(";")[0])
        if pattern:
            self._held = start, pattern
        else:
            await self._send(start)

    async def _finish(self, start: Message, pattern: re.Pattern[bytes]) -> None:
        body = pattern.sub(rb"\1" + self._path.encode(), bytes(self._body))
        MutableHeaders(scope=start)["content-length"] = str(len(body))
        await self._send(start)
        await self._send({"type": "http.response.body", "body": body, "more_body": False})
