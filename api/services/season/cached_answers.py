"""Answers about a season as a key sees it: kept by revision, and worked out for all who wait."""

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
#: What works out an answer, from a session and the season as that session sees it.
Make = Callable[[Session, Season], Value]


def season_answer(
    db: Session, caller: Caller, season: Season, about: tuple[Hashable, ...], make: Make[Value]
) -> Value:
    """Return an answer of the season's revision, or of a newer one, in the language spoken now.

    A newer one is as good: it was asked for before that was made. Anyone who waits for it holds no
    transaction meanwhile, so what `make` needs it reads in the session that it is given.
    """
    cache, view, language = cache_of(db), view_of(caller, season), current_language()
    subject = (*about, season.id, view, language)
    if has_own_cache(db) or cache.queue.is_mine(season.id):
        kept: Value = cache.get_or_make(subject, season.revision, lambda: make(db, season))
        return kept
    newest = cache.newest(subject, season.revision)
    if newest is not None:
        found: Value = newest[1]
        return found
    db.commit()  # it has read what it needs
    asked = Asked(subject, _in_language(language, make), view)
    cache.queue.wait(season.id, asked, lambda: _moment(db, season.id))
    done: Value = asked.taken()
    return done


def _in_language(language: str, make: Make[Value]) -> Make[Value]:
    """Return what works out an answer in a language, whatever thread it runs in."""

    def spoken(db: Session, season: Season) -> Value:
        with using(language):
            return make(db, season)

    return spoken


@contextmanager
def _moment(db: Session, season_id: str) -> Iterator[Callable[[Asked], object]]:
    """Give what works out answers about a season as it is now."""
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
                now.rollback()  # a server would refuse every further statement of this moment
                now.refresh(season)
                raise

        yield answer
