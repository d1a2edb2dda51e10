"""Plain words: no name, text or comment contains a word that `words.toml` excludes."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
WORDS = tomllib.loads((ROOT / "tests/words.toml").read_text(encoding="utf-8"))
ENDINGS = (".py", ".html", ".js", ".css", ".toml", ".typ", ".md")
#: The parts of an identifier: `is_told`, `ToldTwice` and `TOLD` all have the word.
PART = re.compile(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])")


def parts_of(text):
    """Return the words of a text in small letters, with identifiers split into their words."""
    return {part.lower() for part in PART.findall(text)}


def files():
    """Return the files that people wrote, but dated migrations, which stay as they are."""
    listed = subprocess.run(["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, check=True,
                            capture_output=True, text=True).stdout.split("\n")  # fmt: skip
    return [path for path in listed if path.endswith(ENDINGS) and "/versions/" not in path]


def test_the_parts_of_names_are_seen():
    assert parts_of("is_told ToldTwice TOLD retold") == {"is", "told", "twice", "retold"}


@pytest.mark.parametrize("word", WORDS["instead"])
def test_a_plain_word_is_used_instead(word):
    uses = [
        f"{path}: {WORDS['instead'][word]}"
        for path in files()
        if path not in WORDS["allowed"] and f"{path}:{word}" not in WORDS["allowed"]
        and word in parts_of((ROOT / path).read_text(encoding="utf-8"))
    ]  # fmt: skip
    assert uses == []


def test_every_exception_is_needed():
    for place in WORDS["allowed"]:
        path, _, word = place.partition(":")
        words = {word} if word else set(WORDS["instead"])
        assert words & parts_of((ROOT / path).read_text(encoding="utf-8")), place
