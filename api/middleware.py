"""Frame every answer: a request id, safe headers, and problem details for refusals."""

import time
from collections.abc import Callable
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api import logs
from api.errors import MEDIA_TYPE, Answering, Explain, TooLarge, from_foreign
from api.messages import say
from api.metrics import Metrics
from api.models.core.ids import new_id
from api.services.access.rate_limits import network_of

HEADERS = [
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'"),
    (b"cache-control", b"no-store"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=(), usb=()"),
]
#: Returns the methods of an address.
AllowedMethods = Callable[[str], list[str]]
#: Facts that the application adds to a request for its log line.
FOR_THE_LOG = ("route", "key_id", "rate")
#: Sent only over https; browsers then use only https for a year (RFC 6797).
STRICT_TRANSPORT = (b"strict-transport-security", b"max-age=31536000; includeSubDomains")


class AnswerFrame:
    """Pure ASGI around the complete application, so that every answer passes it."""

    def __init__(
        self, app: ASGIApp, explain: Explain, answer: Answering, allowed: AllowedMethods
    ) -> None:
        self.app = app
        self.explain = explain
        self.refuse = answer
        self.allowed = allowed

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        scope["request_id"] = new_id("req")
        is_head = scope["method"] == "HEAD"
        # HEAD is answered as GET (RFC 9110, 9.3.2); the server leaves the body out.
        inner_scope = dict(scope, method="GET") if is_head else scope
        answer = _Answer(inner_scope, receive, send, self.refuse, self.allowed)
        try:
            await self.app(inner_scope, receive, answer.pass_on)
        except Exception as error:
            if answer.started:
                raise
            refused = self.refuse(scope, from_foreign(error, self.explain))
            await refused(scope, receive, answer.send)
        finally:
            scope.update({name: inner_scope[name] for name in FOR_THE_LOG if name in inner_scope})


class RequestLog:
    """Pure ASGI, outermost: one line and one count for each answered request."""

    def __init__(self, app: ASGIApp, metrics: Metrics | None) -> None:
        self.app, self.metrics = app, metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, then log and count it."""
        if scope["type"] != "http" or not (self.metrics or logs.is_listening()):
            await self.app(scope, receive, send)
            return
        status, started = 500, time.perf_counter()

        async def watched(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        if self.metrics:
            self.metrics.running.inc()
        try:
            await self.app(scope, receive, watched)
        finally:
            self._tell(scope, status, time.perf_counter() - started)

    def _tell(self, scope: Scope, status: int, seconds: float) -> None:
        """Log a request by the name of its operation, since an address may contain a secret."""
        operation = getattr(scope.get("route"), "name", "none")
        if self.metrics:
            self.metrics.running.dec()
            self.metrics.note(operation, status, seconds)
        logs.say(
            "answered",
            request_id=scope.get("request_id"),
            method=scope["method"],
            operation=operation,
            status=status,
            ms=round(1000 * seconds, 1),
            key_id=scope.get("key_id"),
            network=network_of(scope["client"][0]) if scope.get("client") else None,
        )


class _Answer:
    """One answer that is being sent."""

    def __init__(
        self,
        scope: Scope,
        receive: Receive,
        send: Send,
        refuse: Answering,
        allowed: AllowedMethods,
    ) -> None:
        self.scope, self.receive, self.outward, self.refuse = scope, receive, send, refuse
        self.allowed = allowed
        self.started = self.replaced = False

    async def pass_on(self, message: Message) -> None:
        """Pass a message on; a plain 413 of the framework's body limit becomes a problem."""
        if self.replaced:
            return
        if message["type"] == "http.response.start" and _is_plain_413(message):
            self.replaced = True
            refusal = TooLarge(say("refused.request_too_large"))
            await self.refuse(self.scope, refusal)(self.scope, self.receive, self.send)
            return
        await self.send(message)

    async def send(self, message: Message) -> None:
        """Send a message with the headers that every answer has."""
        if message["type"] == "http.response.start":
            self.started = True
            headers = message["headers"]
            if message["status"] == 405:  # the framework lists the methods of one route only
                headers = [pair for pair in headers if pair[0] != b"allow"]
                methods = ", ".join(self.allowed(self.scope["path"]))
                headers.append((b"allow", methods.encode()))
            message["headers"] = _framed(headers, self.scope)
        await self.outward(message)


def _is_plain_413(message: Message) -> bool:
    is_problem = (b"content-type", MEDIA_TYPE.encode()) in message["headers"]
    return bool(message["status"] == 413 and not is_problem)


def _framed(headers: Any, scope: Scope) -> list[Any]:
    names = {name for name, _ in headers}
    added = [pair for pair in HEADERS if pair[0] not in names]
    if scope["scheme"] == "https":
        added.append(STRICT_TRANSPORT)
    rate = [
        (name.lower().encode(), value.encode()) for name, value in scope.get("rate", {}).items()
    ]
    return [*headers, *added, *rate, (b"x-request-id", scope["request_id"].encode())]
