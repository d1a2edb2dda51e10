"""Group rows into trials: rows with the same name are the runs of one trial."""

from collections import Counter
from collections.abc import Iterable, Mapping
from hashlib import sha256

from api.services.imports.imported_trial import ImportedTrial
from api.services.imports.table import ReadRow


def group(rows: Iterable[ReadRow]) -> list[ImportedTrial]:
    """Return the trials of rows.

    Rows of one build with the same `client_ref` are the runs of one trial, even if only one of them
    names the build. A row without a `client_ref` continues the trial above if its `run` is the next
    number and its setting is the same. If such a row below a named trial has no `run`, it may be
    the next run or a new trial, so the service asks. In a sheet that was laid out by trials, rows
    with the same number are one.
    """
    trials: dict[str, list[ImportedTrial]] = {}
    by_group: dict[int, ImportedTrial] = {}
    ref_counts: Counter[str] = Counter()
    above: ImportedTrial | None = None
    for row in rows:
        ref = row.get("client_ref")
        if ref is None and (goes_on := _gone_on(row, above, by_group)):
            goes_on.rows.append(row)
            continue
        is_unclear = ref is None and above is not None and _may_continue(row, above)
        name = ref if ref is not None else _derived_ref(row, ref_counts)
        trial = _trial_of(trials.setdefault(name, []), name, row)
        trial.rows.append(row)
        if is_unclear:
            trial.unnamed.append(row)
        if row.group is not None:
            by_group[row.group] = trial
        above = above if is_unclear else trial
    return [trial for of_name in trials.values() for trial in of_name]


def _trial_of(of_name: list[ImportedTrial], name: str, row: ReadRow) -> ImportedTrial:
    """Return the trial of that name with the build of the row, or a new trial."""
    for trial in of_name:
        if row.table.may_be_one_build(row.at, trial.rows[0].at):
            return trial
    of_name.append(ImportedTrial(name))
    return of_name[-1]


def _gone_on(
    row: ReadRow, above: ImportedTrial | None, by_group: Mapping[int, ImportedTrial]
) -> ImportedTrial | None:
    """Return the trial that a row without a name goes on with, if it does with any."""
    if row.group is not None:
        return by_group.get(row.group)
    return above if above is not None and _continues(row, above.rows[-1]) else None


def _continues(row: ReadRow, above: ReadRow) -> bool:
    number, number_above = row.get("run"), above.get("run")
    counts_on = number is not None and number_above is not None and number == number_above + 1
    return counts_on and _is_set_alike(row, above)


def _may_continue(row: ReadRow, above: ImportedTrial) -> bool:
    """Tell whether a row without a run number may be the next run of the named trial above it."""
    is_named = above.rows[0].get("client_ref") is not None and row.group is None
    return is_named and row.get("run") is None and _is_set_alike(row, above.rows[0])


def _is_set_alike(row: ReadRow, above: ReadRow) -> bool:
    settings = row.table.settings
    return settings[row.at] == settings[above.at]


def _derived_ref(row: ReadRow, ref_counts: Counter[str]) -> str:
    """Return a name derived from a row's values, so that a file sent twice is stored once."""
    base = "row-" + sha256(repr(sorted(row.typed.items())).encode()).hexdigest()[:16]
    ref_counts[base] += 1
    return base if ref_counts[base] == 1 else f"{base}-{ref_counts[base]}"
