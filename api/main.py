"""Assemble the application. Importing this module opens nothing."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from typing import TYPE_CHECKING, Any

import anyio
import anyio.to_thread
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts

from api.below_path import BelowPath
from api.bodies import FORM_BYTES, ONE_THING_BYTES, BodyRoom
from api.concurrency import KeyLimits, WriteTurns
from api.db import open_database
from api.embedded import is_embedded
from api.errors import add_error_handlers
from api.heap import freeze, trim_regularly
from api.messages.answering import AnswerLanguage
from api.metrics import Metrics
from api.middleware import AnswerFrame, RequestLog
from api.models.core.validation import explain
from api.on_demand import Once, OnDemand, may_be_page, may_be_resource
from api.routes import about
from api.services.access.rate_limits import InDatabase, InMemory, Limits
from api.services.core.cache import is_computing, stop_refreshing
from api.services.webhooks.sending import Webhooks
from api.settings import Settings, read_settings
from api.version import version
from api.web import errors
from api.webhook_hosts import read_hosts

if TYPE_CHECKING:
    from api.services.webhooks.sender import Sender


def create_app(settings: Settings | None = None) -> FastAPI:
    """Return the application bound to `settings`, or to those of the environment."""
    settings = settings or read_settings()
    app = FastAPI(
        title="Gustbook",
        version=version(),
        lifespan=_lifespan,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        generate_unique_id_function=lambda route: route.name,
    )
    bind(app, settings)
    add_error_handlers(app, explain, errors.answer)
    app.include_router(about.router)
    resources = Once(partial(_include_resources, app, settings.max_body_bytes))
    pages = Once(partial(_include_pages, app, settings))
    app.add_middleware(OnDemand, load=resources, may_need=may_be_resource)
    app.add_middleware(OnDemand, load=pages, may_need=may_be_page)
    app.add_middleware(
        AnswerFrame, explain=explain, answer=errors.answer, allowed=partial(_allowed, app)
    )
    app.add_middleware(AnswerLanguage)
    metrics = app.state.metrics = Metrics() if settings.metrics else None
    if metrics:
        app.include_router(about.metrics_router(metrics))
    if settings.root_path:
        app.add_middleware(BelowPath, path=settings.root_path)
    app.add_middleware(RequestLog, metrics=metrics)
    # FastAPI's documented way.
    app.openapi = partial(_document, app, resources)  # type: ignore[method-assign]
    return app


def _document(app: FastAPI, resources: Once) -> dict[str, Any]:
    """Return the document of the API."""
    from api.openapi import document

    resources()
    return document(app)


def _include_resources(app: FastAPI, most_bytes: int) -> None:
    """Include the resources, each with the largest body it takes; they are imported here.

    The limit is on routers, not on the application, which would answer outside of `AnswerFrame`.
    With a prefix a router is assembled at the first request that may be for it.
    """
    from api.routes.resources import FILES, RESOURCES

    for routers, limit in ((FILES, most_bytes), (RESOURCES, min(most_bytes, ONE_THING_BYTES))):
        for router in routers:
            app.include_router(router, prefix="/v1", max_body_size=limit)
    freeze()


def _include_pages(app: FastAPI, settings: Settings) -> None:
    """Include the pages, each with the largest form it takes; their modules are imported here."""
    from api.web.addresses import FILE_PAGES, PAGES, SCHOOL_ACCOUNT_PAGES

    most_bytes = settings.max_body_bytes
    small_pages = (*SCHOOL_ACCOUNT_PAGES, *PAGES) if settings.sign_in_issuer else PAGES
    for routers, limit in ((FILE_PAGES, most_bytes), (small_pages, min(most_bytes, FORM_BYTES))):
        for router in routers:
            app.include_router(router, include_in_schema=False, max_body_size=limit)
    freeze()


def _allowed(app: FastAPI, path: str) -> list[str]:
    """Return the methods of an address, over all its routes."""
    methods: set[str] = set()
    for route in iter_route_contexts(app.routes):
        if route.path_regex.match(path):
            methods |= route.methods or set()
    return sorted(methods | ({"HEAD"} if "GET" in methods else set()))


def bind(app: FastAPI, settings: Settings) -> None:
    """Bind an application to the programme in `settings`."""
    app.state.settings = settings
    app.state.database = open_database(
        settings.database_url,
        threads=settings.threads,
        busy_timeout_s=settings.busy_timeout_s,
        statement_timeout_s=settings.statement_timeout_s,
        behind_pooler=settings.behind_pooler,
    )
    app.state.turns = KeyLimits(settings.threads)
    app.state.body_room = BodyRoom(settings.max_body_bytes)
    is_busy = partial(is_computing, app.state.database.read_engine)
    app.state.writers = WriteTurns(_writers(settings), is_busy)
    app.state.submissions = None  # made at the first trial
    counter = (
        InMemory()
        if is_embedded(settings.database_url)
        else InDatabase(app.state.database.write_engine)
    )
    app.state.limits = Limits(
        counter,
        settings.requests_per_minute,
        {
            "keys": settings.keys_per_day,
            "links": settings.links_per_day,
            "imports": settings.imports_per_day,
            "webhook_tests": WEBHOOK_TESTS_PER_DAY,
        },
    )
    app.state.webhooks = Webhooks(read_hosts(settings.webhook_hosts))


#: Concurrent writers on a server: each calculates, and one thread calculates at a time.
MOST_WRITERS = 3
#: Most test messages that one key sends to its webhooks in a day.
WEBHOOK_TESTS_PER_DAY = 200


def _writers(settings: Settings) -> int:
    """Return the number of concurrent writers: one for a file, a few for a server."""
    return 1 if is_embedded(settings.database_url) else min(MOST_WRITERS, settings.threads)


def _sender(app: FastAPI) -> "Sender":
    """Return what sends the messages of webhooks; few services have any."""
    from api.services.webhooks.sender import Sender

    state, metrics = app.state, app.state.metrics
    count = metrics.note_delivery if metrics else None
    return Sender(state.database, state.writers, state.webhooks, count)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    # More threads than the database serves only make them wait for each other.
    limiter = anyio.to_thread.current_default_thread_limiter()
    limiter.total_tokens = app.state.settings.threads
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(trim_regularly)
        if app.state.webhooks.hosts:
            tasks.start_soon(_sender(app).run)
        yield
        tasks.cancel_scope.cancel()
    await app.state.webhooks.client.close()
    stop_refreshing(app.state.database.read_engine)
    app.state.database.close()
