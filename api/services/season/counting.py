"""Tell why a trial does not count for the season's tables, in the codes of the reports."""

from analysis.season.summary import LEFT_OUT, RECORD
from api.models.trials.trials import TrialRead


def left_out(trial: TrialRead) -> str:
    """Return why a trial does not count, as a code of the reports; empty if it counts."""
    is_so = {
        "withdrawn": trial.state == "withdrawn",
        "held": trial.state == "held",
        "other_kind": trial.kind != RECORD,
        "out_of_range": trial.result.normalisation == "out_of_range",
        "not_normalised": trial.result.normalised_power_w is None,
    }
    return next((code for code in LEFT_OUT if is_so[code]), "")
