"""Cache answers about a season by revision and view, and compute them for all who wait."""

from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import TypeVar

from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session

from api.db import reading_with
from api.errors import NotFound
from api.messages import current_language, say, using
from api.models.registry.seasons import Season
from api.services.core.cache import AnswerSubject, cache_of, has_own_cache
from api.services.core.computing import Asked
from api.services.core.scope import Caller
from api.services.publishing.published import outdate_if_due, view_of
from api.services.season.older_answers import may_be_shown, still_holds

Value = TypeVar("Value")
#: Computes an answer from a session and the season as that session sees it.
Make = Callable[[Session, Season], Value]


def season_answer(
    db: Session, caller: Caller, season: Season, about: tuple[Hashable, ...], make: Make[Value]
) -> Value:
    """Return an answer of the season's revision, or of a newer one, in the current language.

    A newer revision is correct too, since the request came before the answer was computed. Of a
    large season it may be an older one, if nothing since then concerns the caller. The
    caller has no open transaction while it waits, so `make` reads only in the session it is given.
    """
    cache, view, language = cache_of(db), view_of(caller, season), current_language()
    subject = AnswerSubject(about, season.id, view, language)
    if has_own_cache(db) or cache.queue.is_mine(season.id):
        cached: Value = cache.get_or_make(subject, season.revision, lambda: make(db, season))
        return cached
    outdate_if_due(db, caller, season)
    newest = cache.newest(subject, season.revision)
    if newest is not None:
        newer: Value = newest[1]
        return newer

    def renewed(db: Session, season: Season) -> Value:
        return renew(db, caller, season, subject, make)

    asked = Asked(subject, _in_language(language, renewed), view)
    moment = partial(_moment, db.get_bind().engine, season.id)
    older = cache.newest(subject, 0)
    if older is not None and may_be_shown(db, caller, season, older[0]):
        cache.refresher.ask(season.id, asked, moment)
        shown: Value = older[1]
        return shown
    db.commit()  # end the transaction before waiting
    cache.queue.wait(season.id, asked, moment)
    computed: Value = asked.taken()
    return computed


def renew(
    db: Session,
    caller: Caller,
    season: Season,
    subject: Hashable,
    make: Make[Value],
    *,
    is_of_own: bool = False,
) -> Value:
    """Return the value that is cached of an older revision if it still holds, or a new one."""
    cached = cache_of(db).newest(subject, 0)
    if cached is not None and still_holds(db, caller, season, cached[0], is_of_own=is_of_own):
        older: Value = cached[1]
        return older
    return make(db, season)


def _in_language(language: str, make: Make[Value]) -> Make[Value]:
    """Return a function that computes the answer in a language, in any thread."""

    def spoken(db: Session, season: Season) -> Value:
        with using(language):
            return make(db, season)

    return spoken


@contextmanager
def _moment(engine: Engine, season_id: str) -> Iterator[Callable[[Asked], object]]:
    """Open a snapshot, and give the function that computes answers from it."""
    with reading_with(engine) as now:
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
