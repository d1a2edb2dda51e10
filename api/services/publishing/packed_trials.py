"""Pack a season's trials into bytes for a database row, and unpack them.

A hundred thousand trials in one JSON text take the interpreter for a second, in which no request
is answered. Here each column is a file of a zip archive in numpy's own format, and words are
numbered, so that nothing takes it for more than some milliseconds.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import fields
from io import BytesIO
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

import numpy as np

from analysis.trials.results import PowerResults
from api.services.measurements.frames import Array
from api.services.measurements.season_trials import SeasonTrials

TRIALS, RESULTS = "trials", "results"
LEVEL = 1  # of compression: twice as quick as the usual one, and little larger


def packed(trials: SeasonTrials) -> bytes:
    """Return trials as a zip archive with a file for each column."""
    content = BytesIO()
    with ZipFile(content, "w", ZIP_DEFLATED, compresslevel=LEVEL) as archive:
        for part, columns in ((TRIALS, trials.trials), (RESULTS, columns_of(trials.results))):
            for name, column in columns.items():
                for ending, body in _files(np.asarray(column)):
                    archive.writestr(f"{part}/{name}.{ending}", body)
    return content.getvalue()


def _files(column: Array) -> Iterator[tuple[str, bytes]]:
    """Yield the files of a column; a column of objects is its words and the number of each."""
    if column.dtype == object:
        keys = [(type(value).__name__, value) for value in column.tolist()]
        number_of = {key: at for at, key in enumerate(dict.fromkeys(keys))}
        yield "words.json", json.dumps([value for _, value in number_of]).encode()
        column = np.array([number_of[key] for key in keys], dtype=np.int32)
    body = BytesIO()
    np.lib.format.write_array(body, column)
    yield "npy", body.getvalue()


def unpacked(content: bytes) -> SeasonTrials:
    """Return the trials in packed bytes."""
    parts: dict[str, dict[str, Array]] = {TRIALS: {}, RESULTS: {}}
    with ZipFile(BytesIO(content)) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    for place in files:
        if place.endswith(".npy"):
            part, name = place.removesuffix(".npy").split("/")
            parts[part][name] = _column(files, place)
    return SeasonTrials(parts[TRIALS], PowerResults(**parts[RESULTS]))


def _column(files: Mapping[str, bytes], place: str) -> Array:
    column: Array = np.lib.format.read_array(BytesIO(files[place]))
    words = files.get(place.removesuffix("npy") + "words.json")
    return column if words is None else np.array(json.loads(words), dtype=object)[column]


def columns_of(results: PowerResults) -> dict[str, Any]:
    """Return the columns of results by name."""
    return {each.name: getattr(results, each.name) for each in fields(PowerResults)}
