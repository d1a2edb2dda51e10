"""Say of one trial whether it counts for the season's tables, and why not: as the reports do."""

from analysis.season.summary import LEFT_OUT, RECORD
from api.models.trials.trials import TrialRead

#: Why a single trial does not count, by the codes of the reports.
WHY = {
    "withdrawn": "it was withdrawn",
    "held": "it needs an answer",
    "other_kind": "only record trials count there",
    "out_of_range": "the wind was too far from the season's reference",
    "not_normalised": "its wind speed or its power is not known",
}


def left_out(trial: TrialRead) -> str:
    """Return why a trial does not count, as a code of the reports; empty where it counts."""
    is_so = {
        "withdrawn": trial.state == "withdrawn",
        "held": trial.state == "held",
        "other_kind": trial.kind != RECORD,
        "out_of_range": trial.result.normalisation == "out_of_range",
        "not_normalised": trial.result.normalised_power_w is None,
    }
    return next((code for code in LEFT_OUT if is_so[code]), "")
