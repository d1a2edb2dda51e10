"""What is said of pairs and links: one catalogue, ready for other languages."""

PAIRS = {
    "a_ahead": "{a} is ahead of {b} ({probability:.0%} sure).",
    "a_probably_ahead": "{a} is probably ahead of {b} ({probability:.0%}).",
    "too_close": "{a} and {b} are too close to call.",
    "b_probably_ahead": "{b} is probably ahead of {a} ({probability:.0%}).",
    "b_ahead": "{b} is ahead of {a} ({probability:.0%} sure).",
    "not_yet": (
        "{a} and {b} cannot be compared yet: too little that was tested in one place has been "
        "tested in the other."
    ),
}
ROUGH = " This comparison is rough."
LINKS = {
    "reference": (
        "One session of the reference rotor at {bench} would join {teams} with the others."
    ),
    "visit": (
        "Nothing joins {teams} with the others yet. Borrow a reference rotor for {bench}, or bring "
        "one turbine from there to a visit day."
    ),
}
ANOTHERS_BENCH = "their bench"
NO_TRIALS = "no trial that counts has been stored yet"
NO_REFERENCE = "no reference rotor with an assigned power was tested where this build was"


def pair(statement: str, comparable: str, a: str, b: str, probability: float | None) -> str:
    """Return the sentence about two builds; the probability is of whoever is ahead."""
    sure = max(probability or 0.0, 1 - (probability or 0.0))
    rough = ROUGH if comparable == "rough" else ""
    return PAIRS[statement].format(a=a, b=b, probability=sure) + rough


def link(needs: str, bench: str, teams: list[str]) -> str:
    """Return the sentence about a missing link."""
    named = ", ".join(teams[:6]) + (f" and {len(teams) - 6} more" if len(teams) > 6 else "")
    return LINKS[needs].format(bench=bench, teams=named)
