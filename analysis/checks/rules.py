"""The data checks as data: what each is called, how grave it is, and what it says.

`block` refuses a trial, `hold` keeps it out of reports until somebody answers, `warn` and `info`
only say something. Words are for a tired teacher: what was seen, then what to do. A message's
{braces} are filled with what was seen.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Severity = Literal["block", "hold", "warn", "info"]
Scope = Literal["trial", "session"]


@dataclass(frozen=True, slots=True)
class Rule:
    """One check: its name, what it does to a trial or its session, and its words."""

    name: str
    severity: Severity
    looks_at: str
    message: str
    advice: str
    scope: Scope = "trial"


_RULES = (
    # --- refused -----------------------------------------------------------------------------
    Rule(
        "load_not_stated", "block", "a kind that needs power, without a connected load",
        "Volts without the resistor do not give power. Was the resistor connected?",
        "State the load and that it was connected (load_ohm, load_connected), or give it the kind "
        "without a load (open_circuit).",
    ),
    Rule(
        "supervisor_missing", "block", "a session without an adult at the fan",
        "An adult must be present at the fan.",
        "Note in the session that an adult was present; without one, do not test.",
    ),
    Rule(
        "meter_over_range", "block", "a reading at or above the meter's range",
        "The meter was over its range, so its number means nothing.",
        "Turn to a larger range and read again.",
    ),
    # --- a unit slipped ----------------------------------------------------------------------
    Rule(
        "wind_unit_slip", "hold", "wind off this bench's usual by the factor of a unit",
        "{value:.1f} m/s at this bench? It usually has about {usual:.1f}. {question}",
        "Accept {fixed:.2f} m/s, or keep the speed and say why it was different.",
    ),
    Rule(
        "millivolt_slip", "hold", "volts above 20, or a thousand times what this build gave before",
        "{value:g} V from a model turbine? {value:g} mV would be {fixed:.3g} V.",
        "Accept millivolts, or confirm the volts and say how they were read.",
    ),
    Rule(
        "kiloohm_slip", "hold", "a load under half an ohm, or a thousandth of the one on the list",
        "A load of {value:g} Ω? {value:g} kΩ would be {fixed:g} Ω.",
        "Accept kilo-ohms, or measure the resistor and correct it.",
    ),
    Rule(
        "load_slip", "hold", "a load 10, 100 or 1000 times off the resistor's or the build's",
        "A load of {value:g} Ω? The record says {usual:g} Ω. Is the decimal point in the wrong "
        "place? {fixed:g} Ω would fit.",
        "Accept the value that fits, or measure the resistor and correct it.",
    ),
    Rule(
        "diameter_slip", "hold", "a sheet's diameter off the build's by a unit, or by half",
        "The sheet says {value:.3g} m across, the build's record {usual:.3g} m. Is that {unit}?",
        "Accept the change, or measure tip to tip and correct the build's record.",
    ),
    Rule(
        "pitch_from_axis", "hold", "a pitch above 50 degrees",
        "{value:g}° of pitch? Measured from the shaft instead of from the rotor's plane, that is "
        "{fixed:g}°.",
        "Accept the other angle, or confirm it if the blades really stand that steep.",
    ),
    Rule(
        "temperature_unit", "hold", "a room above 45 degrees Celsius",
        "{value:g} °C in the room? {value:g} °F is {fixed:.0f} °C.",
        "Accept degrees Fahrenheit, or correct the temperature.", "session",
    ),
    Rule(
        "voltage_unlike_before", "hold",
        "volts unlike this build's before at the same pitch and load, scaled to the wind",
        "This build gave about {usual:.3g} V before with this pitch and load; now it is "
        "{value:.3g} V.",
        "Was the resistor connected, and the fan on its usual setting? Correct the readings, or "
        "keep them and say what was different.",
    ),
    Rule(
        "decimal_slip", "hold",
        "volts 10, 100 or 1000 times off this build's before at the same load and wind",
        "This build gave about {usual:.3g} V before with this load; now it is {value:.3g} V. "
        "{question}",
        "Accept the volts that fit, or keep the readings and say what was different.",
    ),
    Rule(
        "voltage_unlike_before",
        "warn",
        "the same, where only one trial came before",
        "This build gave {usual:.3g} V the last time with this pitch and load; now it is "
        "{value:.3g} V. One of the two is off.",
        "Was the resistor connected, the fan on its usual setting? Repeat this setting once.",
    ),
    # --- cannot be ---------------------------------------------------------------------------
    Rule(
        "impossible_power", "hold", "more power than 16/27 of the wind's (Betz)",
        "This is more power than the wind can give to any rotor. A unit is probably wrong.",
        "Check volts, ohms, wind speed and rotor diameter; correct them or say why they are right.",
    ),
    Rule(
        "unmeasurable_power", "hold", "less than a millionth of a watt, but not nothing",
        "{value:.2g} µW is less than a usual meter can show across this load. {question}",
        "Check the unit of the volts and of the load; correct them, or keep them if the rotor "
        "hardly turned.",
    ),
    Rule(
        "unlikely_power", "warn", "a power coefficient above 0.25",
        "A power coefficient of {value:.2f} is very high for a model.",
        "Read volts, ohms, wind speed and diameter once more.",
    ),
    Rule(
        "zero_volts", "hold", "no volts while the rotor turns",
        "The rotor turned at {value:.0f} a minute and gave no volts.",
        "Look for a loose wire, a wrong range, or alternating current without a rectifier.",
    ),
    Rule(
        "runs_disagree", "warn", "ln P of the runs apart by more than 0.13; from 0.20 it is held",
        "The runs of this trial lie {value:.0f} % apart, further than they usually do.",
        "Did a blade slip, or did someone walk past the fan? Repeat the trial if you can.",
    ),
    Rule(
        "runs_disagree", "hold", "ln P of the runs apart by more than 0.20",
        "Your readings disagree: {readings}.{question}",
        "Correct the odd one, or keep the readings and say why. If a blade slipped, repeat the "
        "trial.",
    ),
    Rule(
        "duplicate", "hold", "the same build, session, setting and readings as an earlier trial",
        "The same numbers were entered before for this build in this session.",
        "Withdraw one of the two, or confirm that they were two trials.",
    ),
    Rule(
        "copied_runs", "warn", "three runs alike to the last digit on a fine range",
        "All {value:.0f} runs show exactly the same.",
        "Were they so many runs, or one entered so often? Put in what each run showed.",
    ),
    Rule(
        "wrong_build", "warn", "pitch and load of the build before or after, not of this one",
        "Pitch and load are those of build {value:.0f}, not of this one.",
        "Check which build was on the hub; put the trial to it, or correct the build's record.",
    ),
    Rule(
        "jump", "warn", "a build that gives 60 % more or 40 % less than the one before",
        "That is {value:+.0f} % from the build before, and nothing noted has changed.",
        "Great if true: repeat it once, and note what changed.",
    ),
    # --- the meter and the load --------------------------------------------------------------
    Rule(
        "meter_range_coarse", "warn", "a reading below a tenth of the meter's range",
        "The meter's range is more than ten times the reading, so the last digit matters too much.",
        "Turn to the smallest range that still shows a number, and repeat.",
    ),
    Rule(
        "load_hot", "warn", "more than half the resistor's rated power",
        "The resistor takes {value:.0f} % of what it is rated for and may be too hot to touch.",
        "Let it cool, mount it on something that cannot burn, and take one of a higher rating.",
    ),
    Rule(
        "load_hot", "hold", "more than the resistor's rated power",
        "The resistor takes {value:.0f} % of what it is rated for: it may burn.",
        "Stop, let it cool, and take a resistor of a higher rating. Check volts and ohms.",
    ),
    Rule(
        "load_differs", "warn", "a load more than 5 % off the resistor's record",
        "{value:.3g} Ω were used, and the list says {usual:.3g} Ω for this resistor.",
        "Measure it, leads subtracted, and correct whichever is wrong.",
    ),
    Rule(
        "volts_amperes_ohms", "warn", "volts over amperes more than 5 % off the load",
        "Volts over amperes make {value:.3g} Ω, and the load is said to be {usual:.3g} Ω.",
        "Clip the voltmeter to the resistor itself and keep the ammeter out of its reading.",
    ),
    # --- how it was run ----------------------------------------------------------------------
    Rule(
        "too_few_runs", "warn", "a record trial of fewer than three runs",
        "One run can be lucky; this trial has {value:.0f}.",
        "Run it three times, the rotor starting from the wind again each time.",
    ),
    Rule(
        "not_steady", "warn", "a logged series that drifts, jumps or varies by more than 10 %",
        "The voltage was still rising or jumping while it was logged.",
        "Wait a quarter of a minute after the rotor settles, then log half a minute.",
    ),
    Rule(
        "short_run", "warn", "a run shorter than 15 seconds",
        "A run of {value:.0f} s is short: gusts do not average out.",
        "Let each run take half a minute.",
    ),
    Rule(
        "pitch_spread", "warn", "blades more than 4 degrees apart",
        "The blades' pitches lie {value:.1f}° apart; that costs power and shakes the tower.",
        "Set every blade with the gauge again before you conclude anything from a pitch.",
    ),
    Rule(
        "pitch_moved", "hold", "a pitch that moved by more than 2 degrees during the trial",
        "The pitch moved by {value:.1f}° during the trial. A blade may be loose.",
        "Nobody near the rotor: stop the fan, check that every blade is tight, set it, repeat.",
    ),
    Rule(
        "tip_speed_odd", "warn", "a tip-speed ratio below 0.7 or above 6.5",
        "At this wind the tips would run at {value:.1f} times its speed: the two do not fit.",
        "Check how turns were counted (one mark, not each blade) and the wind speed.",
    ),
    Rule(
        "out_of_range_wind", "warn", "wind outside 0.80 to 1.25 of the season's reference",
        "The wind was {value:.2f} times the season's reference: too far to convert fairly.",
        "Move fan or distance until the wind is near {usual:.1f} m/s; a moved bench is a new one.",
    ),
    Rule(
        "default_exponent", "warn", "wind more than 10 % from the reference, and no own exponent",
        "Provisional: how this build follows the wind is not known.",
        "Run it at three wind speeds around the reference, once.",
    ),
    Rule(
        "not_a_power_law", "warn", "a wind sweep that bends, or an exponent outside 1.5 to 6",
        "The rotor changes its ways with the wind; it may be stalling.",
        "Try a higher pitch or more ohms, and sweep the wind again.",
    ),
    Rule(
        "edge_optimum", "info", "a pitch sweep whose best is its first or last",
        "The best pitch tried is at the end of the sweep, so the best of all is not known yet.",
        "Try {fixed:g}° next.",
    ),
    Rule(
        "mixed_change", "info", "a build in which several things changed",
        "Several things changed in this build ({words}), so none of them can be credited.",
        "Change one thing; test old, new and old again.",
    ),
    # --- the bench and the room --------------------------------------------------------------
    Rule(
        "humidity_fraction", "hold", "a humidity of at most 1 %",
        "{value:g} % humidity? As a fraction of one, that is {fixed:.0f} %.",
        "Accept the percentage, or correct the humidity.", "session",
    ),
    Rule(
        "sea_level_pressure", "warn", "a pressure like the weather report's at altitude",
        "{value:.0f} hPa is what a weather report says; at this height it is about {usual:.0f}.",
        "Read a barometer in the room, or leave it empty: the height is used then.", "session",
    ),
    Rule(
        "pressure_odd", "warn", "a pressure more than 25 hPa from what the height gives",
        "{value:.0f} hPa is unusual here: the height gives about {usual:.0f}.",
        "Read the barometer again, or leave it empty.", "session",
    ),
    Rule(
        "cold_fan", "warn", "a warm-up below five minutes",
        "The fan ran for {value:.0f} min before the first run, and a fan slows as it warms.",
        "Let it run five minutes and repeat the first runs.", "session",
    ),
    Rule(
        "wind_drifted", "warn", "wind at start and end apart by more than 3 %; from 6 % it is held",
        "The wind changed by {value:.0f} % during the session.",
        "Check the socket, the setting and the distance.", "session",
    ),
    Rule(
        "wind_drifted", "hold", "wind at start and end apart by more than 6 %",
        "The wind changed by {value:.0f} % during the session, too much to compare its trials.",
        "Find out when it changed; confirm with the reason, or run the session again.", "session",
    ),
    Rule(
        "bench_changed", "hold", "fan setting or distance other than the bench's",
        "This is not the usual bench: {words}.",
        "Register a bench for it and run the reference rotor there, or correct what was noted.",
        "session",
    ),
    Rule(
        "no_reference", "warn", "no reference run in the session nor in the 14 days before",
        "No reference run at this bench in the last two weeks, if ever.",
        "Five minutes with the reference rotor make this session comparable with other schools.",
        "session",
    ),
    Rule(
        "reference_off", "warn", "a reference run 0.12 off its usual; from 0.18 it is held",
        "The reference rotor was {value:+.0f} % off its usual here today.",
        "Check distance, load and meter; today's other results may be off too.", "session",
    ),
    Rule(
        "reference_off", "hold", "a reference run 0.18 off this bench's usual",
        "The reference rotor was {value:+.0f} % off its usual here today, so all of today may be "
        "wrong.",
        "Check distance, load, meter and fan setting before anyone believes today's results.",
        "session",
    ),
    Rule(
        "single_wind_point", "warn", "a bench whose wind was never measured over the rotor",
        "The wind of this bench is known at one spot only.",
        "Measure five points over the rotor's plane, rotor away, once.", "session",
    ),
    Rule(
        "uneven_jet", "warn", "a wind grid that varies by more than 15 %",
        "The wind over the rotor varies by {value:.0f} %{words}.",
        "Move the rotor back or put a straightener before the fan.", "session",
    ),
    Rule(
        "rotor_wider_than_jet", "warn", "a rotor wider than 0.8 of the fan",
        "The rotor is {value:.2f} times as wide as the fan: its tips are outside the wind.",
        "Take a smaller rotor or a bigger fan; until then do not compare diameters.",
    ),
    Rule(
        "tunnel_blockage", "warn", "a rotor that fills more than 15 % of a tunnel",
        "The rotor fills {value:.0f} % of the tunnel, and its walls push the result up.",
        "Believe only ratios with a reference rotor of about the same size.",
    ),
    Rule(
        "stale_instrument", "warn", "a wind meter not checked for a year",
        "The wind meter was last checked {value:.0f} months ago.",
        "Compare it with the coach's, and note the day.", "session",
    ),
    Rule(
        "date_odd", "warn", "a session in the future or outside its season",
        "The session's date {words}.",
        "Correct the date.", "session",
    ),
    # --- people ------------------------------------------------------------------------------
    Rule(
        "personal_data", "warn", "a name, an address or a number of a person in free text",
        "{words} may name a person.",
        "Leave out names, e-mail addresses and phone numbers: a team's label is enough.",
    ),
)  # fmt: skip

#: Every rule by its name and severity: a few are graver from a higher bound on.
RULES = {(rule.name, rule.severity): rule for rule in _RULES}
GRAVEST: dict[Severity, int] = {"block": 0, "hold": 1, "warn": 2, "info": 3}


PAGE = """# The data checks

Made by `python -m api checks` from `analysis/checks/rules.py`. `block` refuses a trial, `hold`
keeps it (or its whole session) out of reports until somebody answers, `warn` and `info` only say
something.
No check ever changes a number: where it knows which value was probably meant it proposes it, and a
person accepts it, confirms the value that stands, or withdraws the trial.

Some mistakes cannot be seen in numbers: volts read without the load, another fan setting, or a
blade that slipped before all runs, the first time a setting is tried. They are asked for at entry
(was the load connected, which fan setting, pitch measured again afterwards), and one repeat of the
last setting at the start of every session shows them.

| rule | does | looks at | says |
|---|---|---|---|
"""


def rules_page(rules: Iterable[Rule]) -> str:
    """Return all rules as a page of Markdown.

    Parameters
    ----------
    rules : iterable of Rule
        Rules, in the order they are to stand in.

    Returns
    -------
    str
        One table row per rule.

    Examples
    --------
    >>> rules_page([RULES["cold_fan", "warn"]]).splitlines()[-1][:61]
    '| `cold_fan` | warn, session | a warm-up below five minutes |'
    """
    lines = [_row(rule) for rule in rules]
    return PAGE + "\n".join(lines) + "\n"


def _row(rule: Rule) -> str:
    words = re.sub(r"\{(\w+)[^}]*\}", r"{\1}", f"{rule.message} {rule.advice}")
    of = ", session" if rule.scope == "session" else ""
    return f"| `{rule.name}` | {rule.severity}{of} | {rule.looks_at} | {words} |"
