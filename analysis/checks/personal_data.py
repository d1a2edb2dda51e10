"""Checks of free text that seems to contain a person's name, an address or a phone number."""

import re
from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from analysis.checks.trial import once_a_build
from analysis.checks.view import Finding, View, findings

MAIL = re.compile(r"(?<![\w.+-])[\w.+-]{1,64}@[\w-]+\.\w+")
#: International, with a leading zero or brackets, or grouped as 3-3-4 digits; dates do not match.
PHONE = re.compile(
    r"\+\d[\d ()/.-]{7,}\d|(?<![\d.,])0\d[\d ()/-]{6,}\d|\(0\d+\) ?\d[\d -]{4,}\d"
    r"|(?<!\d)\d{3}[-. ]\d{3}[-. ]\d{4}(?!\d)"
)
TITLED = re.compile(r"\b(?:Mr|Mrs|Ms|Miss|Dr|Herr|Frau|Mme|Señora?)\.? [^\W\d_]")
WORD = re.compile(r"[^\W\d_]+")
#: Words that are written with a capital in notes and labels and are not names.
ORDINARY_WORDS = """
    a after again all and arm axis back balsa before below bench best big black blade blades blue
    bolt box build card centre changed check class club coach cold day dowel down east event fan
    fifth first fixed four fourth from front gear glue good green group hall heavy high hub in it
    jet lab large last left less light load long loose low lower main meter middle more motor new
    next no north note old on one only open orange outer pair paper part pink pipe pitch plastic
    purple rain record red reference repeat right room root rotor run school season second session
    set setting seven short side six slow small south spare spring spun still storm strong summer
    sun sweep team ten term test tests the then there third this three tip too top tower trial two
    upper used very was we weak west white wide wind winds wing winter wood yellow young
"""
ORDINARY = frozenset(ORDINARY_WORDS.split())


def personal_data(view: View) -> Iterator[Finding]:
    """Yield texts that seem to contain a name, an address or a phone number, each text once.

    Parameters
    ----------
    view : View
        Trials of complete benches.

    Yields
    ------
    Finding
        With the kind of text, never with the text itself.
    """
    once = once_a_build(view, np.ones(len(view.text("note")), dtype=bool))
    texts = {
        "note": view.text("note"),
        "session_note": np.where(view.first_of_session, view.text("session_note"), ""),
        "build_note": np.where(once, view.text("build_note"), ""),
        "team_name": np.where(once, view.text("team_name"), ""),
    }
    rows = zip(*(column.tolist() for column in texts.values()), strict=True)
    variants = [_variant_of(dict(zip(texts, row, strict=True))) if any(row) else "" for row in rows]
    where = np.array([bool(each) for each in variants], dtype=bool)
    yield from findings(where, "personal_data", "warn", variant=variants)


def _variant_of(texts: dict[str, str]) -> str:
    """Return the first kind of text with personal data, and the kind of data; empty if none."""
    kinds = {name: person_in(text) for name, text in texts.items() if text}
    return next((f"{name}_{kind}" for name, kind in kinds.items() if kind), "")


def person_in(text: str) -> str:
    """Return the kind of personal data that a text seems to contain.

    Parameters
    ----------
    text : str
        A note or a label.

    Returns
    -------
    str
        `mail`, `phone` or `name`; empty if none.

    Examples
    --------
    >>> person_in("asked j.doe@example.org"), person_in("by Łukasz Żak"), person_in("Blade Two")
    ('mail', 'name', '')
    >>> person_in("repeated on 2026-03-05 14:30")
    ''
    """
    if MAIL.search(text):
        return "mail"
    if PHONE.search(text):
        return "phone"
    return "name" if TITLED.search(text) or _has_pair(text) else ""


def _has_pair(text: str) -> bool:
    """Tell whether two words in a row, a space between them, look like first and last name."""
    return any(
        text[one.end() : other.start()] == " " and _is_name(one[0]) and _is_name(other[0])
        for one, other in pairwise(WORD.finditer(text))
    )


def _is_name(word: str) -> bool:
    """Tell whether a word is written like a name and is not an ordinary word."""
    return len(word) > 2 and word.istitle() and word.casefold() not in ORDINARY
