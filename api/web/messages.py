"""The catalogue of what pages say: one file a language, found by keys."""

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "words"
LANGUAGE = "en"


@cache
def catalogue(language: str = LANGUAGE) -> dict[str, str]:
    """Return the sentences of a language by `group.key`."""
    groups = tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8"))
    return {
        f"{group}.{key}": re.sub(r"\s*\n\s*", " ", words).strip()
        for group, said in groups.items()
        for key, words in said.items()
    }


def say(key: str, **values: Any) -> str:
    """Return a sentence; a key that is not in the catalogue is an error.

    Where there is a key ending in `_one`, it is what is said of a single one.

    >>> say("page.as_of", when="5 March 2026, 14:30 UTC")
    'As of 5 March 2026, 14:30 UTC.'
    >>> say("imports.doubts", count=1), say("imports.doubts", count=2)
    ('What looks odd (1 row)', 'What looks odd (2 rows)')
    """
    words = catalogue()
    single = f"{key}_one"
    chosen = single if values.get("count") == 1 and single in words else key
    return words[chosen].format(**values)


def knows(key: str) -> bool:
    """Tell whether the catalogue has a key."""
    return key in catalogue()
