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

    >>> say("page.as_of", when="5 March 2026, 14:30 UTC")
    'As of 5 March 2026, 14:30 UTC.'
    """
    return catalogue()[key].format(**values)


def knows(key: str) -> bool:
    """Tell whether the catalogue has a key."""
    return key in catalogue()
