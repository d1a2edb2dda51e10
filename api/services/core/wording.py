"""What is said of findings: one catalogue of sentences by key, ready for other languages."""

from collections.abc import Sequence

SENTENCES = {
    "pair.a_ahead": "{a} is ahead of {b} ({sure} sure).",
    "pair.a_probably_ahead": "{a} is probably ahead of {b} ({sure}).",
    "pair.too_close": "{a} and {b} are too close to call.",
    "pair.b_probably_ahead": "{b} is probably ahead of {a} ({sure}).",
    "pair.b_ahead": "{b} is ahead of {a} ({sure} sure).",
    "pair.not_yet": (
        "{a} and {b} cannot be compared yet: too little that was tested in one place has been "
        "tested in the other."
    ),
    "pair.rough": "{pair} This comparison is rough.",
    "fair.available": (
        "Teams in the same group can be compared, because they share a bench, the reference rotor "
        "or a visiting turbine. Where two are too close to call, it says so."
    ),
    "fair.not_yet": (
        "No two teams can be compared fairly yet: every fan, room and wind meter reads "
        "differently. It takes runs of the reference rotor at each bench, or a turbine that "
        "visits, to tell by how much."
    ),
    "link.reference": (
        "One session of the reference rotor at {bench} would join {teams} with the others."
    ),
    "link.visit": (
        "Nothing joins {teams} with the others yet. Borrow a reference rotor for {bench}, or bring "
        "one turbine from there to a visit day."
    ),
    "bench.fine": "{bench} reads {effect:+.0f} % from the others: fine.",
    "bench.alone": (
        "{bench} is the only bench with trials so far, so there is nothing to hold it against."
    ),
    "bench.look": (
        "{bench} reads {effect:+.0f} % from the others: look at distance, wind meter, load and fan."
    ),
    "bench.act": (
        "{bench} reads {effect:+.0f} % from the others: check wind meter, distance, load and fan "
        "before more is measured there."
    ),
    "model.fine": "The season's trials scatter as the stated doubts say ({spread:.1f} times).",
    "model.too_wide": (
        "The season's trials scatter {spread:.1f} times as much as their doubts say: look for "
        "mistakes, or for a pitch or load that changed within a build."
    ),
    "model.too_narrow": (
        "The season's trials scatter {spread:.1f} times what their doubts say: the doubts are "
        "stated with room to spare."
    ),
    "trend.too_early": "It is too early to see a trend.",
    "trend.no_clear_trend": (
        "No clear trend yet: the ups and downs are as large as any growth. After a record a lower "
        "result is to be expected."
    ),
    "trend.likely_improving": "Power is likely growing, by about {slope:.0f} % a week.",
    "trend.improving": "Power is growing, by about {slope:.0f} % a week.",
    "plateau.not_yet": "Too few builds yet to say whether the gains have levelled off.",
    "plateau.gaining": "The newest builds still gain.",
    "plateau.unclear": "It is not known yet whether the newest builds still gain.",
    "plateau.reached": (
        "The last {builds} builds brought no more than chance would: a good moment to change "
        "something else than before."
    ),
    "pitch.found": (
        "Build {number}: best pitch about {best:.1f}°; from {low:.1f}° to {high:.1f}° is just as "
        "good."
    ),
    "pitch.rough": (
        "Build {number}: best pitch about {best:.1f}°, roughly: repeats agree better than the "
        "curve fits. Sweep again nearer the top, two runs at each pitch."
    ),
    "pitch.stale": (
        "Build {number}: its best pitch was about {best:.1f}°. The rotor or its load has changed "
        "since, so a new sweep is due."
    ),
    "pitch.open": (
        "Build {number}: the best pitch is not known yet: {reason}. Try {next:.1f}° of pitch next."
    ),
    "load.found": (
        "Build {number}: best load about {best:.0f} Ω; anything from half to one and a half times "
        "that is within 4 %."
    ),
    "load.beyond": (
        "Build {number}: by the line through its volts and amperes the best load is about "
        "{best:.0f} Ω, outside the loads tried. Try it before you rely on it."
    ),
    "load.stale": (
        "Build {number}: its best load was about {best:.0f} Ω. The turbine has changed since, and "
        "the best load moves with it."
    ),
    "load.near_stall": (
        "Build {number}: near stall no line fits; the best load is about {best:.0f} Ω by the loads "
        "tried."
    ),
    "load.open": "Build {number}: the best load is not known yet: {reason}.",
    "wind.own": (
        "Build {number}: its power grows as the wind to the power {exponent:.1f} (± {u:.1f}) at "
        "this load, by its own sweep."
    ),
    "wind.bent": (
        "Build {number}: its power is no simple power of the wind, it may be stalling; near the "
        "reference the exponent is {exponent:.1f} (± {u:.1f}). Try a higher pitch or more ohms."
    ),
    "wind.open": (
        "Build {number}: its wind sweep cannot be used yet: {reason}. Until then {default:.1f} "
        "(± {u_default:.1f}) stands."
    ),
    "safety.guard": (
        "With its load off this rotor needs a full guard or a closed test area: its tips could run "
        "at {runaway_tip_speed_m_s:.0f} m/s, and a blade carry {energy}."
    ),
    "safety.speed": (
        "If the load falls off in {wind_speed_m_s:.1f} m/s it may turn {runaway_speed_rpm:.0f} "
        "times a minute, its tips at {runaway_tip_speed_m_s:.0f} m/s."
    ),
    "safety.pull": (
        "Each blade then pulls with {blade_force_n:.0f} N, {blade_weights:.0f} times its weight, "
        "so it must hold {pull_test_n:.0f} N ({kilograms:.1f} kgf) when you pull it at rest."
    ),
    "safety.no_mass": (
        "Weigh a blade and note it: without that nobody knows what its root must hold."
    ),
    "safety.tower": "Tower stability is {tipping_ratio:.1f}; at least 1.5 is needed.",
    "safety.tower_may_fall": (
        "Tower stability is only {tipping_ratio:.1f}; at least 1.5 is needed: make the foot wider "
        "or heavier."
    ),
    "safety.no_tower": (
        "Note the tower's foot, mass and hub height: without them nobody knows whether it stands."
    ),
    "plan.reference": (
        "A session of the reference rotor at {bench}: the doubt between two teams falls from "
        "{before:.1f} to {after:.1f} %."
    ),
    "plan.visit": (
        "A visit of {team} to {bench}: the doubt between two teams falls from {before:.1f} to "
        "{after:.1f} %."
    ),
    "plan.visit_day": (
        "A visit day of all {teams} teams at {bench}: the doubt between two teams falls from "
        "{before:.1f} to {after:.1f} %."
    ),
    "drift.fine": (
        "The reference rotor moved by {percent:.1f} % over its {runs} runs; that is taken off."
    ),
    "drift.decide": (
        "The reference rotor moved by {percent:.1f} % over its {runs} runs, more than 6 %: "
        "officials decide before anything is announced."
    ),
    "drift.unknown": (
        "The reference rotor ran less than twice in this session, so its drift is not known and "
        "nothing is taken off."
    ),
    "results.none": "No official run that counts has been stored yet.",
    "results.known": "{teams} teams have a result.",
    "results.team": "{event}: place {place} of {teams}{power}.",
    "results.wait": (
        "Places wait: the reference rotor drifted by more than 6 %. Look at the hall, decide, and "
        "set the event's drift_decision to corrected or as_run, or run again."
    ),
    "ready.pass": "{words}: met.",
    "ready.unknown": "{words}: {fact} is not noted yet. Note it.",
    "ready.unknown_made": "{words}: for that note {fact} first.",
    "ready.practise": (
        "{words}: the last one is too long ago, or there is none. Run a record trial."
    ),
    "ready.beyond": (
        "{words}: it is {value}; {limit} is needed. Change the build, or correct its record."
    ),
    "ready.doubtful": (
        "{words}: it is {value}, where {limit} is asked; your measuring cannot tell which side "
        "that is. Measure again with the official gauge."
    ),
    "ready.not_inspected": "{words}: nobody has looked at it yet. Have it inspected.",
    "ready.changed": (
        "{words}: the build, the rule or the event's wind changed since it was inspected. Have it "
        "looked at again."
    ),
    "ready.found": "{words}: the inspection found a fault{evidence}. Correct it and show it again.",
    "ready.not_shown": "{words}: could not be shown at the inspection. Show it.",
    "ready.done": "Ready: nothing is open. Pack spares, and bring the load and leads.",
    "ready.no_build": "No build is registered yet: register the one that will come.",
    "change.more": "{what} gave about {effect:.0f} % more (probably {low:.0f} to {high:.0f} %).",
    "change.times": ("{what} gave about {times} times the power (probably {low} to {high} times)."),
    "change.less": (
        "{what} gave about {effect:.0f} % less. Useful: now you know which direction not to go."
    ),
    "change.unclear": (
        "{what}: no difference is known yet. A change smaller than about {detectable:.0f} % "
        "would hide in the usual wobble. Test the old and the new one back to back."
    ),
    "change.unclear_together": (
        "{what}: no difference is known yet, though tested back to back. A change smaller than "
        "about {detectable:.0f} % would hide in the usual wobble."
    ),
    "next.record": "Run a record trial of build {number}: three runs at one setting.",
    "next.pitch": "Try {value:.1f}° of pitch next, all else as it is.",
    "next.start_pitch": (
        "Sweep the pitch of the newest build, all else as it is: start at {value:.1f}°."
    ),
    "next.start_pitch_before": (
        "Sweep the pitch of the newest build, all else as it is: start at {value:.1f}°, where "
        "build {before} was best."
    ),
    "next.load": "Sweep the load at one wind: five resistors around {value:.0f} Ω.",
    "next.load_in_use": "Sweep the load at one wind: five resistors around the one in use.",
    "next.other_factor": (
        "The last builds brought nothing sure. Change something else than before: blade count, "
        "blade shape or diameter, one of them."
    ),
    "next.repeat": "Repeat the best setting in another session, to be surer of it.",
    "outlook.range": (
        "{team}: about {median:.0f} mW at the event, four times in five {low:.0f} to {high:.0f} "
        "mW; a chance of {first} to come first."
    ),
    "event_pair.a_ahead": "{a} comes before {b} ({sure} sure).",
    "event_pair.a_probably_ahead": "{a} probably comes before {b} ({sure}).",
    "event_pair.too_close": "{a} and {b} are too close to call.",
    "review.few": (
        "The score of the forecast over all teams is not shown here: with so few hidden teams it "
        "would show how these did."
    ),
    "review.coverage": (
        "{inside} of {of} results lay within their 80 % range; of many, four of five should."
    ),
    "review.nothing": "There is no review yet: {reason}.",
    "outlook.alone": (
        "{team}: about {median:.0f} mW at the event, four times in five {low:.0f} to {high:.0f} "
        "mW; no other team is shown here to say a chance against."
    ),
    "outlook.not_yet": "{team} cannot be placed yet: {reason}.",
}
ANOTHERS_BENCH = "their bench"
NO_TRIALS = "no trial that counts has been stored yet"
NO_REFERENCE = "no reference rotor with an assigned power was tested where this build was"
NOTHING_JOINS = "nothing that was tested at its bench has been tested where the others were"
NO_OUTLOOK = (
    "no team can be placed yet: it takes record trials, and runs of a reference rotor with an "
    "assigned power"
)
NO_RECORD = "no record trial counts yet"
TIMES_FROM = 200  # [%], from here on times are easier to grasp


def say(key: str, **values: object) -> dict[str, str]:
    """Return a sentence with its key, as a statement carries them."""
    return {"sentence_key": key, "sentence": SENTENCES[key].format(**values)}


def text(key: str, **values: object) -> str:
    """Return a sentence alone."""
    return SENTENCES[key].format(**values)


def share(probability: float) -> str:
    """Return a probability in words that claim no more than is known.

    >>> share(0.714), share(0.002), share(0.9999)
    ('71 %', 'less than 1 %', 'over 99 %')
    """
    if probability > 0.99:
        return "over 99 %"
    return f"{probability * 100:.0f} %" if probability >= 0.01 else "less than 1 %"


def pair(
    statement: str, comparable: str, a: str, b: str, probability: float | None
) -> dict[str, str]:
    """Return what is said of two builds; the probability is of the one ahead."""
    sure = share(max(probability or 0.0, 1 - (probability or 0.0)))
    said = say(f"pair.{statement}", a=a, b=b, sure=sure)
    if comparable == "rough":
        said["sentence"] = SENTENCES["pair.rough"].format(pair=said["sentence"])
    return said


def link(needs: str, bench: str, teams: Sequence[str]) -> dict[str, str]:
    """Return what is said of a missing link."""
    named = ", ".join(teams[:6]) + (f" and {len(teams) - 6} more" if len(teams) > 6 else "")
    return say(f"link.{needs}", bench=bench, teams=named)


def times(change_pct: float) -> str:
    """Return a change as a multiple, to be read before "times".

    >>> times(418.0), times(11680.0)
    ('5.2', '118')
    """
    ratio = 1 + change_pct / 100
    return f"{ratio:.{1 if ratio < 10 else 0}f}"


def change(
    builds: tuple[int, int],
    factor: str | None,
    effect: float,
    span: tuple[float, float],
    detectable: float,
    *,
    back_to_back: bool,
) -> dict[str, str]:
    """Return the sentence about a change: more, less, or not known yet."""
    named = (factor or "").replace("_", " ")
    changed = f"the change of {named}" if named else "the changes together"
    what = f"From build {builds[0]} to {builds[1]}, {changed}"
    low, high = span
    if low > 0 and effect >= TIMES_FROM:
        multiple, least, most = (times(pct) for pct in (effect, low, high))
        return say("change.times", what=what, times=multiple, low=least, high=most)
    if low > 0:
        return say("change.more", what=what, effect=effect, low=low, high=high)
    if high < 0:
        return say("change.less", what=what, effect=-effect)
    unclear = "change.unclear_together" if back_to_back else "change.unclear"
    return say(unclear, what=what, detectable=detectable)
