"""Cache answers about a season by revision and view, and compute them for all who wait."""

from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session

from api.db import reading_with
from api.errors import NotFound
from api.messages import current_language, say, using
from api.models.registry.seasons import Season
from api.services.core.cache import cache_of, has_own_cache
from api.services.core.computing import Asked
from api.services.core.scope import Caller
from api.services.publishing.published import view_of

Value = TypeVar("Value")
#: Computes an answer from a session and the season as that session sees it.
Make = Callable[[Session, Season], Value]


def season_answer(
    db: Session, caller: Caller, season: Season, about: tuple[Hashable, ...], make: Make[Value]
) -> Value:
    """Return an answer of the season's revision, or of a newer one, in the current language.

    A newer revision is correct too, since the request came before the answer was computed. The
    caller has no open transaction while it waits, so `make` reads only in the session it is given.
    """
    cache, view, language = cache_of(db), view_of(caller, season), current_language()
    subject = (*about, season.id, view, language)
    if has_own_cache(db) or cache.queue.is_mine(season.id):
        cached: Value = cache.get_or_make(subject, season.revision, lambda: make(db, season))
        return cached
    newest = cache.newest(subject, season.revision)
    if newest is not None:
        newer: Value = newest[1]
        return newer
    db.commit()  # end the transaction before waiting
    asked = Asked(subject, _in_language(language, make), view)
    cache.queue.wait(season.id, asked, lambda: _moment(db, season.id))
    computed: Value = asked.taken()
    return computed


def _in_language(language: str, make: Make[Value]) -> Make[Value]:
    """Return a function that computes the answer in a language, in any thread."""

    def spoken(db: Session, season: Season) -> Value:
        with using(language):
            return make(db, season)

    return spoken


@contextmanager
def _moment(db: Session, season_id: str) -> Iterator[Callable[[Asked], object]]:
    """Open a snapshot, and give the function that computes answers from it."""
    with reading_with(db.get_bind().engine) as now:
        season = now.get(Season, season_id)
        if season is None:
            raise NotFound(say("report_refused.season_gone"))

        def answer(asked: Asked) -> object:
            make = asked.make
            try:
                return cache_of(now).get_or_make(
                    asked.subject, season.revision, lambda: make(now, season)
                )
            except SQLAlchemyError:
                now.rollback()  # otherwise a server refuses every further query of this transaction
                now.refresh(season)
                raise

        yield answer
