"""Write the uncertainty of one trial's power as a budget, term by term."""

from sqlmodel import Session, col

from analysis.trials.budget import BudgetTerm, uncertainty_budget
from analysis.trials.results import trial_results
from api.messages import say
from api.models.trials.budget import BudgetTermRead, UncertaintyBudget
from api.models.trials.trials import Trial
from api.services.core import resources, wording
from api.services.core.scope import Caller
from api.services.measurements.frames import read_frame
from api.services.measurements.results import result_fields

#: The largest term decides what to improve first; those of wind ask for one thing.
ADVICE = {
    "runs": "runs", "session": "session", "wind_exponent": "wind_sweep",
    "density_exponent": "wind_sweep", "wind_meter": "wind_meter", "wind_profile": "wind_grid",
    "fan_setting": "session", "voltage": "meter_range", "load": "load",
    "air_density": "air",
}  # fmt: skip


def budget_of(db: Session, caller: Caller, trial_id: str) -> UncertaintyBudget:
    """Return the uncertainty budget of a trial; without terms if its power is not known."""
    trial = resources.get_row(db, caller, Trial, trial_id)
    frame = read_frame(db, col(Trial.id) == trial.id)
    results = trial_results(frame.trials, frame.runs)
    [fields] = result_fields(results)
    power = fields["normalised_power_w"]
    terms = uncertainty_budget(results) if power else []
    return UncertaintyBudget.model_validate(
        _in_words(terms, fields["reason"])
        | {
            "trial_id": trial.id,
            "normalised_power_w": power,
            "interval_w": fields["interval_w"],
            "u_total_pct": 100 * fields["u_total"] if terms else None,
            "terms": [_read(term) for term in terms],
        }
    )


def _read(term: BudgetTerm) -> BudgetTermRead:
    return BudgetTermRead(
        term=term.term,
        name=say(f"budget_term.{term.term}"),
        part=term.part,
        u_input=term.u_input,
        sensitivity=term.sensitivity,
        u_pct=100 * term.u_power,
        share_pct=100 * term.share,
    )


def _in_words(terms: list[BudgetTerm], reason: str | None) -> dict[str, str]:
    """Return the sentence on the largest term and what would reduce it."""
    if not terms:
        return wording.statement("budget.unknown", reason=reason or say("trial.no_reason"))
    largest = terms[0]
    return wording.statement(
        f"budget_advice.{ADVICE[largest.term]}",
        term=say(f"budget_term.{largest.term}"),
        share=100 * largest.share,
    )
