"""The languages of the service, and the current language of a request."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, lru_cache
from pathlib import Path

from babel import Locale, negotiate_locale

FOLDER = Path(__file__).parent / "locale"
#: The language of the log, of stored texts, and of requests that ask for none.
DEFAULT = "en"
#: A longer header is a mistake or an attack.
MOST_NAMED = 20

_current: ContextVar[str] = ContextVar("language", default=DEFAULT)


@cache
def languages() -> dict[str, str]:
    """Return each language that has a catalogue, with its own name for itself.

    >>> languages()["de"]
    'Deutsch'
    """
    codes = sorted(path.stem for path in FOLDER.glob("??.po"))
    return {code: str(locale_of(code).get_language_name(code)).capitalize() for code in codes}


#: The locale of a language, if it differs from the default one.
USAGE = {"en": "en_GB"}


@cache
def locale_of(language: str) -> Locale:
    """Return the locale of a language, for numbers, days and plurals."""
    return Locale.parse(USAGE.get(language, language))


def other_languages() -> list[tuple[str, str]]:
    """Return the other languages than the current one, each with its own name for itself."""
    return [pair for pair in languages().items() if pair[0] != current_language()]


def current_language() -> str:
    """Return the current language."""
    return _current.get()


@contextmanager
def using(language: str) -> Iterator[None]:
    """Set the current language within a block."""
    token = _current.set(language)
    try:
        yield
    finally:
        _current.reset(token)


@lru_cache(maxsize=256)  # a few browsers send the same few headers
def preferred(accept_language: str) -> str:
    """Return the language to answer in, by an Accept-Language header (RFC 9110, 12.5.4).

    >>> preferred("fr, de-AT;q=0.8, en;q=0.5"), preferred("fr"), preferred("de;q=0, *")
    ('de', 'en', 'en')
    """
    ranked = sorted(_weighed(accept_language), key=lambda pair: -pair[0])
    wanted = [name for quality, name in ranked if quality > 0]
    return negotiate_locale(wanted, list(languages()), sep="-") or DEFAULT


def _weighed(accept_language: str) -> Iterator[tuple[float, str]]:
    """Yield the quality and the name of each language in a header; skip invalid parts."""
    for part in accept_language.split(",")[:MOST_NAMED]:
        name, _, parameter = part.partition(";")
        quality = parameter.strip().removeprefix("q=") or "1"
        if name.strip().replace("-", "").isalnum() and quality.replace(".", "", 1).isdecimal():
            yield float(quality), name.strip().lower()
