"""A trial's page: what it means, what is doubted, and how it is put right."""

from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session
from starlette.responses import Response

from api.models.benches import Bench
from api.models.builds import Build
from api.models.flags import FlagAnswerCreate, FlagRead
from api.models.organisations import Organisation
from api.models.seasons import Season
from api.models.sessions import BenchSession
from api.models.trials import Correction, Trial, TrialChanges, TrialRead, Withdrawal
from api.models.turbines import Turbine
from api.pages import forms, rendering
from api.pages.catalogue import say
from api.pages.forms import Field, Filled
from api.pages.sending import tried
from api.pages.telling import history_of, how_sure, run_in_words
from api.pages.trial_form import AT_ONCE, FIELDS, IN_RUNS, PLACES, READING_NAMES, with_runs
from api.pages.visits import Posted, Visit, Visited, local_path
from api.services import answers, corrections, trials
from api.services.documents.words import milliwatts
from api.services.scope import Caller

router = APIRouter()

REASON = Field("reason", "text", required=True)
#: What a correction may change: everything but where and when it was.
CORRECTED = tuple(each for each in FIELDS if each.name != "session_id")
#: What a trial's page shows elsewhere: its title, its note, its runs.
NOT_PLAIN = frozenset({"build_id", "note", *READING_NAMES, *IN_RUNS})
TrialId = Annotated[str, Path()]


def where(db: Session, trial: TrialRead) -> dict[str, Any]:
    """Return the things around a trial, as its page names them."""
    build = db.get_one(Build, trial.build_id)
    turbine = db.get_one(Turbine, build.turbine_id)
    sitting = db.get_one(BenchSession, trial.session_id)
    bench = db.get_one(Bench, sitting.bench_id)
    season = db.get_one(Season, trial.season_id)
    school = db.get_one(Organisation, bench.organisation_id)
    return {"build": build, "turbine": turbine, "sitting": sitting, "bench": bench,
            "season": season, "zone": school.timezone or season.timezone}  # fmt: skip


def verdict(trial: TrialRead, season: Season) -> list[str]:
    """Return in plain words what a trial gave, whether it counts, and how sure that is."""
    result = trial.result
    told = [say(f"trial.state_{trial.state}")]
    if trial.state == "withdrawn":
        return told
    if trial.state == "held":
        return [*told, say("trial.in_doubt")]
    if result.power_w is not None:
        told.append(say("trial.power", power=f"{result.power_w * 1000:.1f}"))
    if result.normalised_power_w is None or result.interval_w is None:
        if trial.kind != "open_circuit":
            told.append(say("trial.not_normalised", reason=result.reason or say("trial.no_reason")))
        return told
    cubic = (result.normalised_power_cubic_w or 0.0) * 1000
    told.append(
        say(
            "trial.normalised",
            power=milliwatts(result.normalised_power_w, result.interval_w),
            wind=f"{season.reference_wind_speed_m_s:g}",
            density=f"{season.reference_air_density_kg_m3:g}",
            cubic=f"{cubic:.0f}",
        )
    )
    if result.normalisation in ("provisional", "out_of_range"):
        told.append(say(f"trial.{result.normalisation}"))
    return told


@router.get("/trials/{trial_id}")
def trial(trial_id: TrialId, visited: Visited) -> Response:
    """Show a trial with its result, its questions and its history."""
    return _page(visited, trial_id)


def _page(visited: Visit, trial_id: str, wrong: Filled | None = None, at: str = "") -> Response:
    with visited.reading() as db:
        found = trials.get(db, visited.caller, trial_id)
        around = where(db, found)
        done = history_of(db, visited, Trial, trial_id)
    is_out = found.state == "withdrawn"
    open_ones = [flag for flag in found.flags if flag.state == "open" and not is_out]
    return rendering.show(
        "trial.html",
        visited,
        status=422 if wrong and wrong.is_wrong else 200,
        trial=found,
        verdict=verdict(found, around["season"]),
        facts=_facts(found),
        questions=[flag for flag in open_ones if flag.severity in ("block", "hold")],
        oddities=[flag for flag in open_ones if flag.severity == "warn" and flag.trial_id],
        of_session=[flag for flag in open_ones if flag.severity == "warn" and not flag.trial_id],
        readings="; ".join(run_in_words(run) for run in found.runs),
        hints=[flag for flag in open_ones if flag.severity == "info"],
        answered=[flag for flag in found.flags if flag.state not in ("open", "cleared")],
        history=done,
        how=how_sure(found),
        wrong=wrong,
        wrong_at=at,
        **around,
    )


def _facts(trial: TrialRead) -> list[tuple[str, str]]:
    """Return what was measured and typed, each with its unit."""
    plain = [each for each in CORRECTED if each.name not in NOT_PLAIN]
    named = [(each.label, _choice(each, forms.shown([each], trial)[each.name])) for each in plain]
    runs = [(say("trial.run", number=run.number), run_in_words(run)) for run in trial.runs]
    return [(label, text) for label, text in [*named, *runs] if text]


def _choice(asked: Field, text: str) -> str:
    if asked.kind == "tick":
        return say("form.yes") if text else say("form.no")
    return dict(asked.choices).get(text, text)


# --- putting right, withdrawing, answering --------------------------------------------------


@router.get("/trials/{trial_id}/correct")
def correct_form(trial_id: TrialId, visited: Visited) -> Response:
    """Show a trial's facts in a form."""
    with visited.reading() as db:
        found = trials.get(db, visited.caller, trial_id)
    return _correction(visited, found, Filled([*CORRECTED, REASON], _typed(found)))


def _typed(trial: TrialRead) -> dict[str, str]:
    volts = {
        f"voltage_{run.number}": forms.plain(run.voltage_v)
        for run in trial.runs[: len(READING_NAMES)]
    }
    first = trial.runs[0]
    once = {name: forms.plain(getattr(first, name)) for name in
            ("rotor_speed_rpm", "current_a", "duration_s")}  # fmt: skip
    return forms.shown(CORRECTED, trial) | once | volts


@router.post("/trials/{trial_id}/correct")
def correct(trial_id: TrialId, posted: Posted) -> Response:
    """Put a trial right, with the reason; the old values stay in its history."""
    with posted.visit.reading() as db:
        found = trials.get(db, posted.visit.caller, trial_id)
    filled, values = forms.read([*CORRECTED, REASON], posted.typed())
    filled.places = {f"/changes{place}": name for place, name in PLACES.items()}
    changes = None if filled.faults else _changes(found, filled, values)
    if changes is None:
        return _correction(posted.visit, found, filled)

    def work(db: Session, caller: Caller) -> str:
        corrections.correct(db, caller, trial_id, changes)
        return f"/trials/{trial_id}"

    return tried(posted, filled, work) or _correction(posted.visit, found, filled)


def _changes(found: TrialRead, filled: Filled, values: dict[str, Any]) -> Correction | None:
    """Return what moved, as a correction takes it; runs go whole if any of them moved."""
    before = _typed(found)
    moved = {name for name, text in filled.typed.items() if text != before.get(name, "")}
    moved.discard("reason")
    if not moved:
        filled.other.append(say("trial.nothing_moved"))
        return None
    in_runs = {*READING_NAMES, *IN_RUNS}
    if moved & in_runs and not _is_plain(found):
        filled.other.append(say("trial.many_runs"))
        return None
    told = with_runs(dict(values), filled)
    runs = {"runs": told["runs"]} if moved & in_runs else {}
    changes = {name: told.get(name) for name in moved - in_runs} | runs
    shape = forms.shaped(TrialChanges, filled, changes)
    if shape is None:
        return None
    return forms.shaped(Correction, filled, {"reason": filled.typed["reason"], "changes": changes})


def _is_plain(found: TrialRead) -> bool:
    """Tell whether this form can say a trial's runs: readings alone, the rest in common."""
    apart = {tuple(getattr(run, name) for name in IN_RUNS) for run in found.runs}
    own = any(run.wind_speed_m_s is not None or run.series_voltage_v for run in found.runs)
    return len(found.runs) <= len(READING_NAMES) and len(apart) == 1 and not own


def _correction(visited: Visit, found: TrialRead, filled: Filled) -> Response:
    with visited.reading() as db:
        around = where(db, found)
    build = [(found.build_id, f"{around['turbine'].name}, build {around['build'].number}")]
    filled.fields = forms.offering(filled.fields, {"build_id": build})
    return rendering.show(
        "trial_correct.html", visited, status=422 if filled.is_wrong else 200, trial=found,
        filled=filled, by_name={each.name: each for each in filled.fields},
        readings=READING_NAMES[:AT_ONCE], **around,
    )  # fmt: skip


@router.post("/trials/{trial_id}/withdraw")
def withdraw(trial_id: TrialId, posted: Posted) -> Response:
    """Take a trial out of everything that is computed, with the reason."""
    filled, values = forms.read([REASON], posted.typed())
    given = forms.shaped(Withdrawal, filled, values)
    if given is None:
        return _page(posted.visit, trial_id, filled, "withdraw")

    def work(db: Session, caller: Caller) -> str:
        corrections.withdraw(db, caller, trial_id, given)
        return f"/trials/{trial_id}"

    return tried(posted, filled, work) or _page(posted.visit, trial_id, filled, "withdraw")


@router.get("/flags/{flag_id}")
def flag(flag_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a question with its possible answers."""
    with visited.reading() as db:
        found = answers.get(db, visited.caller, flag_id)
    return _question(visited, found, None)


def _question(visited: Visit, found: FlagRead, wrong: Filled | None) -> Response:
    return rendering.show(
        "flag.html", visited, status=422 if wrong and wrong.is_wrong else 200, flag=found,
        wrong=wrong,
    )  # fmt: skip


@router.post("/flags/{flag_id}/answer")
def answer(flag_id: Annotated[str, Path()], posted: Posted) -> Response:
    """Answer a question: accept the proposal, confirm what stands, or withdraw the trial."""
    with posted.visit.reading() as db:
        found = answers.get(db, posted.visit.caller, flag_id)
    filled, values = forms.read([Field("answer", "text", required=True), Field("reason", "text")],
                                posted.typed())  # fmt: skip
    given = forms.shaped(FlagAnswerCreate, filled, values)
    if given is None:
        return _question(posted.visit, found, filled)

    def work(db: Session, caller: Caller) -> str:
        answered = answers.answer(db, caller, flag_id, given)
        onwards = f"/trials/{answered.trial_id}" if answered.trial_id else "/today"
        return local_path(posted.text("back"), onwards)

    return tried(posted, filled, work) or _question(posted.visit, found, filled)
