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


TRENDS = {
    "too_early": "It is too early to see a trend.",
    "no_clear_trend": "No clear trend yet: the ups and downs are as large as any growth.",
    "likely_improving": "Power is likely growing, by about {slope:.0f} % a week.",
    "improving": "Power is growing, by about {slope:.0f} % a week.",
}
PITCH_FOUND = (
    "Build {number}: best pitch about {best:.1f}°; from {low:.1f}° to {high:.1f}° is just as good."
)
PITCH_OPEN = (
    "Build {number}: the best pitch is not known yet: {reason}. Try {next:.1f}° of pitch next."
)
LOAD_FOUND = (
    "Build {number}: best load about {best:.0f} Ω; anything from half to one and a half times that "
    "is within 4 %."
)
LOAD_OPEN = "Build {number}: the best load is not known yet: {reason}."
LOAD_TESTED = (
    "Build {number}: near stall no line fits; the best load is about {best:.0f} Ω by the loads "
    "tried."
)
MORE = "{factor} gave about {effect:.0f} % more (probably {low:.0f} to {high:.0f} %)."
TIMES = "{factor} gave about {times:.1f} times the power (probably {low:.1f} to {high:.1f} times)."
TIMES_FROM = 200  # [%], from here on times are easier to grasp
LESS = "{factor} gave about {effect:.0f} % less. Useful: now you know which direction not to go."
UNCLEAR = (
    "{factor}: no difference can be told yet. A change smaller than about {detectable:.0f} % would "
    "hide in the usual wobble. Test the old and the new one back to back."
)
NEXT = {
    "record": "Run a record trial of build {number}: three runs at one setting.",
    "pitch": "Try {value:.1f}° of pitch next, all else as it is.",
    "start_pitch": "Sweep the pitch of the newest build, all else as it is: start at {start}.",
    "load": "Sweep the load at one wind: five resistors around {around}.",
    "repeat": "Repeat the best setting in another session, to be surer of it.",
}
NO_RECORD = "no record trial counts yet"


def trend(verdict: str, slope_pct: float | None) -> str:
    """Return the sentence about a trend."""
    return TRENDS[verdict].format(slope=slope_pct or 0.0)


def change(factor: str | None, effect: float, span: tuple[float, float], detectable: float) -> str:
    """Return the sentence about a change: more, less, or not to be told yet."""
    what = f"The change of {factor}" if factor else "The changes together"
    low, high = span
    if low > 0 and effect >= TIMES_FROM:
        times, least, most = (1 + pct / 100 for pct in (effect, low, high))
        return TIMES.format(factor=what, times=times, low=least, high=most)
    if low > 0:
        return MORE.format(factor=what, effect=effect, low=low, high=high)
    if high < 0:
        return LESS.format(factor=what, effect=-effect)
    return UNCLEAR.format(factor=what, detectable=detectable)


def next_load(load_ohm: float | None) -> str:
    """Return the advice to sweep the load, around the build's own where it has one."""
    around = f"{load_ohm:.0f} Ω" if load_ohm is not None else "the one in use"
    return NEXT["load"].format(around=around)


def start_pitch(value: float | None, before: int | None = None) -> str:
    """Return the advice to begin a pitch sweep, with the build whose best pitch it begins at."""
    where = f"{value:.1f}°" + (f", where build {before} was best" if before else "")
    return NEXT["start_pitch"].format(start=where)
