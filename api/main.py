"""The application, assembled. Importing this opens nothing."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import PackageNotFoundError, version

import anyio
import anyio.to_thread
from fastapi import APIRouter, FastAPI

from api.db import is_embedded, open_database
from api.errors import add_error_handlers
from api.metrics import Metrics
from api.middleware import AnswerFrame, RequestLog
from api.models.validation import explain
from api.openapi import document
from api.pages import refusals
from api.pages.addresses import PAGES
from api.routes import (
    about,
    benches,
    builds,
    comparison,
    equipment,
    events,
    exports,
    flags,
    history,
    imports,
    keys,
    organisations,
    progress,
    reports,
    seasons,
    sessions,
    teams,
    templates,
    trials,
    turbines,
)
from api.services.limits import InDatabase, InMemory, Limits
from api.settings import Settings, read_settings
from api.turns import Turns

RESOURCES = (
    exports,
    seasons,
    organisations,
    keys,
    teams,
    equipment,
    turbines,
    builds,
    benches,
    sessions,
    trials,
    imports,
    reports,
    comparison,
    progress,
    events,
    flags,
    history,
    templates,
)


def create_app(settings: Settings | None = None) -> FastAPI:
    """Return the application bound to `settings`, or to those of the environment."""
    settings = settings or read_settings()
    app = FastAPI(
        title="Gustbook",
        version=_version(),
        lifespan=_lifespan,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        generate_unique_id_function=lambda route: route.name,
    )
    bind(app, settings)
    add_error_handlers(app, explain, refusals.answer)
    # On the router and not on the application, whose limit would answer from outside our frame.
    v1 = APIRouter(prefix="/v1", max_body_size=settings.max_body_bytes)
    for resource in RESOURCES:
        v1.include_router(resource.router)
    v1.include_router(equipment.loans_router)
    app.include_router(about.router)
    app.include_router(v1)
    pages = APIRouter(include_in_schema=False, max_body_size=settings.max_body_bytes)
    for page in PAGES:
        pages.include_router(page)
    app.include_router(pages)
    app.add_middleware(AnswerFrame, explain=explain, answer=refusals.answer)
    metrics = Metrics() if settings.metrics else None
    if metrics:
        app.include_router(about.metrics_router(metrics))
    app.add_middleware(RequestLog, metrics=metrics)
    app.openapi = lambda: document(app)  # type: ignore[method-assign]  # FastAPI's documented way
    return app


def bind(app: FastAPI, settings: Settings) -> None:
    """Let an application serve the programme that `settings` name."""
    app.state.settings = settings
    app.state.database = open_database(
        settings.database_url,
        threads=settings.worker_threads,
        busy_timeout_s=settings.busy_timeout_s,
        statement_timeout_s=settings.statement_timeout_s,
    )
    app.state.turns = Turns(settings.worker_threads)
    app.state.writers = anyio.Semaphore(_writers(settings))
    app.state.submissions = trials.gather(app.state.writers)
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
        },
    )


def _writers(settings: Settings) -> int:
    """Return how many may write at once: one to a file, and half of the threads to a server."""
    return 1 if is_embedded(settings.database_url) else max(1, settings.worker_threads // 2)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    # More threads than the database serves only make them wait for each other.
    anyio.to_thread.current_default_thread_limiter().total_tokens = (
        app.state.settings.worker_threads
    )
    yield
    app.state.database.close()


def _version() -> str:
    try:
        return version("gustbook")
    except PackageNotFoundError:
        return "0.1.0"
