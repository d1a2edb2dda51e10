"""From rows to trials: rows with the same name are the runs of one trial."""

from collections import Counter
from collections.abc import Iterable
from hashlib import sha256

from api.services.imports.imported_trial import ImportedTrial
from api.services.imports.table import ReadRow


def group(rows: Iterable[ReadRow]) -> list[ImportedTrial]:
    """Return the trials that rows belong to.

    Rows of one build with the same `client_ref` are one trial's runs, also where a name of the
    build is filled in only once. A row without one that counts its `run` on from the row above and
    says the same otherwise continues that trial; where it says the same below a named trial and
    counts nothing, it may be its next run or a trial of its own, so that it is asked about.
    """
    trials: dict[str, list[ImportedTrial]] = {}
    made_up: Counter[str] = Counter()
    above: ImportedTrial | None = None
    for row in rows:
        ref = row.get("client_ref")
        if ref is None and above is not None and _continues(row, above.rows[-1]):
            above.rows.append(row)
            continue
        is_unclear = ref is None and above is not None and _may_continue(row, above)
        name = ref if ref is not None else _made_up_ref(row, made_up)
        trial = _trial_of(trials.setdefault(name, []), name, row)
        trial.rows.append(row)
        if is_unclear:
            trial.unnamed.append(row)
        above = above if is_unclear else trial
    return [trial for named in trials.values() for trial in named]


def _trial_of(named: list[ImportedTrial], name: str, row: ReadRow) -> ImportedTrial:
    """Return the trial of that name whose build a row may speak of, a new one if there is none."""
    for trial in named:
        if row.table.may_be_one_build(row.at, trial.rows[0].at):
            return trial
    named.append(ImportedTrial(name))
    return named[-1]


def _continues(row: ReadRow, above: ReadRow) -> bool:
    here, there = row.get("run"), above.get("run")
    counts_on = here is not None and there is not None and here == there + 1
    return counts_on and _is_set_alike(row, above)


def _may_continue(row: ReadRow, above: ImportedTrial) -> bool:
    """Tell whether a row that counts nothing may be the next run of the named trial above it."""
    is_named = above.rows[0].get("client_ref") is not None
    return is_named and row.get("run") is None and _is_set_alike(row, above.rows[0])


def _is_set_alike(row: ReadRow, above: ReadRow) -> bool:
    settings = row.table.settings
    return settings[row.at] == settings[above.at]


def _made_up_ref(row: ReadRow, made_up: Counter[str]) -> str:
    """Return a name made of a row's own values, so that the same file sent twice stores it once."""
    base = "row-" + sha256(repr(sorted(row.typed.items())).encode()).hexdigest()[:16]
    made_up[base] += 1
    return base if made_up[base] == 1 else f"{base}-{made_up[base]}"
