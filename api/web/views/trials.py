"""The page of a trial: its result, its questions, and its correction."""

from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session
from starlette.responses import Response

from api.messages import say
from api.messages.numbers import localised
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Confirmation, Reinstatement, Trial, TrialRead, Withdrawal
from api.services.core.scope import Caller
from api.services.registry import pickers
from api.services.reporting.documents import quality_plots
from api.services.reporting.documents.blocks import Text
from api.services.reporting.documents.words import milliwatts
from api.services.season import counting
from api.services.trials import budgets, corrections, stored_trials
from api.web import forms, rendering
from api.web.descriptions import history_of, how_sure, run_in_words
from api.web.forms import Field, Filled
from api.web.submitting import tried
from api.web.trial_before import than_before
from api.web.views import correction_form, proposals
from api.web.views.correction_form import FACTS, REASON
from api.web.visitors import Posted, Visit, Visited, local_path

router = APIRouter()

#: Facts that the page of a trial shows elsewhere, such as in its title.
NOT_PLAIN = frozenset({"session_id", "build_id", "load_id", "note"})
TrialId = Annotated[str, Path()]


def where(db: Session, trial: TrialRead) -> dict[str, Any]:
    """Return the things that the page of a trial names."""
    build = db.get_one(Build, trial.build_id)
    turbine = db.get_one(Turbine, build.turbine_id)
    session = db.get_one(BenchSession, trial.session_id)
    bench = db.get_one(Bench, session.bench_id)
    season = db.get_one(Season, trial.season_id)
    school = db.get_one(Organisation, bench.organisation_id)
    team = db.get(Team, turbine.team_id) if turbine.team_id else None
    owner = pickers.named_turbine(turbine, team)
    return {"build": build, "turbine": turbine, "owner": owner, "session": session, "bench": bench,
            "season": season, "zone": school.timezone or season.timezone}  # fmt: skip


def verdict(trial: TrialRead, season: Season) -> list[str]:
    """Return sentences on the result of a trial, whether it counts, and its uncertainty."""
    result = trial.result
    code = counting.left_out(trial)
    sentences = [say(f"trial.counts_{code}" if code else "trial.counts")]
    if trial.state in ("withdrawn", "held"):
        return sentences
    if result.power_w is not None:
        sentences.append(say("trial.power", power=localised(result.power_w * 1000, ".1f")))
    if result.normalised_power_w is None or result.interval_w is None:
        if trial.kind != "open_circuit":
            sentences.append(
                say("trial.not_normalised", reason=result.reason or say("trial.no_reason"))
            )
        return sentences
    cubic = (result.normalised_power_cubic_w or 0.0) * 1000
    sentences.append(
        say(
            "trial.normalised",
            power=milliwatts(result.normalised_power_w, result.interval_w),
            wind=localised(season.reference_wind_speed_m_s, "g"),
            density=localised(season.reference_air_density_kg_m3, "g"),
            cubic=f"{cubic:.0f}",
        )
    )
    if result.normalisation in ("provisional", "out_of_range"):
        sentences.append(say(f"trial.{result.normalisation}"))
    return sentences


@router.get("/trials/{trial_id}")
def trial(trial_id: TrialId, visited: Visited) -> Response:
    """Show a trial with its result, its questions and its history."""
    return _page(visited, trial_id)


def _page(visited: Visit, trial_id: str, wrong: Filled | None = None, at: str = "") -> Response:
    with visited.reading() as db:
        stored_trial = stored_trials.get(db, visited.caller, trial_id)
        context = where(db, stored_trial)
        done = history_of(db, visited, Trial, trial_id)
        proposed = proposals.buttons(db, stored_trial.flags)
        budget = budgets.budget_of(db, visited.caller, trial_id)
        before = than_before(db, visited.caller, stored_trial, context["build"], context["session"])
    is_withdrawn = stored_trial.state == "withdrawn"
    open_flags = [flag for flag in stored_trial.flags if flag.state == "open" and not is_withdrawn]
    return rendering.show(
        "trial.html",
        visited,
        status=422 if wrong and wrong.is_wrong else 200,
        trial=stored_trial,
        verdict=verdict(stored_trial, context["season"]),
        than_before=before,
        facts=_facts(stored_trial),
        questions=[flag for flag in open_flags if flag.severity in ("block", "hold")],
        oddities=[flag for flag in open_flags if flag.severity == "warn" and flag.trial_id],
        of_session=[flag for flag in open_flags if flag.severity == "warn" and not flag.trial_id],
        proposed=proposed,
        hints=[flag for flag in open_flags if flag.severity == "info"],
        answered=[flag for flag in stored_trial.flags if flag.state not in ("open", "cleared")],
        history=done,
        how=how_sure(stored_trial),
        budget=[Text(budget.sentence), quality_plots.budget(budget)] if budget.terms else [],
        wrong=wrong,
        wrong_at=at,
        **context,
    )


def _facts(trial: TrialRead) -> list[tuple[str, str]]:
    """Return the measured and typed values with their units."""
    plain = [each for each in FACTS if each.name not in NOT_PLAIN]
    labelled_facts = [
        (each.label, _choice(each, forms.shown([each], trial)[each.name])) for each in plain
    ]
    runs = [(say("trial.run", number=run.number), run_in_words(run)) for run in trial.runs]
    return [(label, text) for label, text in [*labelled_facts, *runs] if text]


def _choice(asked: Field, text: str) -> str:
    if asked.kind == "tick":
        return say("form.yes") if text else say("form.no")
    return dict(asked.choices).get(text, text)


# --- correcting, withdrawing, reinstating ---------------------------------------------------


@router.get("/trials/{trial_id}/correct")
def correct_form(trial_id: TrialId, visited: Visited) -> Response:
    """Show the facts of a trial in a form."""
    with visited.reading() as db:
        stored_trial = stored_trials.get(db, visited.caller, trial_id)
    filled = Filled(correction_form.fields(stored_trial), correction_form.shown(stored_trial))
    return _correction(visited, stored_trial, filled)


@router.post("/trials/{trial_id}/correct")
def correct(trial_id: TrialId, posted: Posted) -> Response:
    """Correct a trial, with the reason; the old values stay in its history."""
    with posted.visit.reading() as db:
        stored_trial = stored_trials.get(db, posted.visit.caller, trial_id)
    filled, values = forms.read(correction_form.fields(stored_trial), posted.typed())
    changes = (
        None
        if filled.faults
        else correction_form.correction(stored_trial, filled, values, posted.typed())
    )
    if changes is None:
        return _correction(posted.visit, stored_trial, filled)

    def work(db: Session, caller: Caller) -> str:
        corrections.correct(db, caller, trial_id, changes)
        back = posted.visit.request.query_params.get("back", "")
        return local_path(back, f"/trials/{trial_id}")

    return tried(posted, filled, work) or _correction(posted.visit, stored_trial, filled)


def _correction(visited: Visit, stored_trial: TrialRead, filled: Filled) -> Response:
    with visited.reading() as db:
        context = where(db, stored_trial)
        offered = correction_form.offers(db, visited.caller, stored_trial)
    filled.fields = forms.offering(filled.fields, offered)
    by_name = {each.name: each for each in filled.fields}
    runs = [
        [by_name[each.name] for each in correction_form.run_fields(stored_trial, number)]
        for number in range(1, len(stored_trial.runs) + 2)
        if correction_form.key(number, "voltage_v") in by_name
    ]
    return rendering.show(
        "trial_correct.html", visited, status=422 if filled.is_wrong else 200, trial=stored_trial,
        filled=filled, by_name=by_name, runs=runs,
        in_runs=tuple(each.name for run in runs for each in run), **context,
    )  # fmt: skip


@router.post("/trials/{trial_id}/withdraw")
def withdraw(trial_id: TrialId, posted: Posted) -> Response:
    """Withdraw a trial from all results, with the reason."""
    filled, values = forms.read([REASON], posted.typed())
    withdrawal = forms.shaped(Withdrawal, filled, values)
    if withdrawal is None:
        return _page(posted.visit, trial_id, filled, "withdraw")

    def work(db: Session, caller: Caller) -> str:
        corrections.withdraw(db, caller, trial_id, withdrawal)
        return f"/trials/{trial_id}"

    return tried(posted, filled, work) or _page(posted.visit, trial_id, filled, "withdraw")


@router.post("/trials/{trial_id}/confirm")
def confirm(trial_id: TrialId, posted: Posted) -> Response:
    """Let a trial count that the rest of the season does not expect, with the reason."""
    filled, values = forms.read([REASON], posted.typed())
    given = forms.shaped(Confirmation, filled, values)
    if given is None:
        return _page(posted.visit, trial_id, filled, "confirm")

    def work(db: Session, caller: Caller) -> str:
        corrections.confirm(db, caller, trial_id, given)
        return f"/trials/{trial_id}"

    return tried(posted, filled, work) or _page(posted.visit, trial_id, filled, "confirm")


@router.post("/trials/{trial_id}/reinstate")
def reinstate(trial_id: TrialId, posted: Posted) -> Response:
    """Let a withdrawn trial count again, with the reason."""
    filled, values = forms.read([REASON], posted.typed())
    reinstatement = forms.shaped(Reinstatement, filled, values)
    if reinstatement is None:
        return _page(posted.visit, trial_id, filled, "reinstate")

    def work(db: Session, caller: Caller) -> str:
        corrections.reinstate(db, caller, trial_id, reinstatement)
        return f"/trials/{trial_id}"

    return tried(posted, filled, work) or _page(posted.visit, trial_id, filled, "reinstate")
