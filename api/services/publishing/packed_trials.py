"""Pack a season's trials into bytes for a database row, and unpack them."""

import json
import zlib
from dataclasses import fields
from typing import Any

import numpy as np

from analysis.trials.results import PowerResults
from api.services.measurements.season_trials import SeasonTrials


def packed(trials: SeasonTrials) -> bytes:
    """Return trials as compressed JSON: the type and values of each column."""
    columns = {"trials": trials.trials, "results": columns_of(trials.results)}
    as_lists = {
        part: {name: [column.dtype.str, column.tolist()] for name, column in by_name.items()}
        for part, by_name in columns.items()
    }
    return zlib.compress(json.dumps(as_lists).encode())


def unpacked(content: bytes) -> SeasonTrials:
    """Return the trials in packed bytes."""
    parts = {
        part: {name: np.array(values, dtype=kind) for name, (kind, values) in by_name.items()}
        for part, by_name in json.loads(zlib.decompress(content)).items()
    }
    trials = parts["trials"]
    # What was packed before trials could be confirmed has none.
    trials.setdefault("is_confirmed", np.zeros(len(trials["trial_id"]), dtype=bool))
    return SeasonTrials(trials, PowerResults(**parts["results"]))


def columns_of(results: PowerResults) -> dict[str, Any]:
    """Return the columns of results by name."""
    return {each.name: getattr(results, each.name) for each in fields(PowerResults)}
