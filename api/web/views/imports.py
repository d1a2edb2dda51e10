"""Pages of imports: preview a sheet, correct cells, store it, and undo it."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from api.deps import as_file, database, limits, turns
from api.errors import ApiError, FieldError, Invalid
from api.messages import say
from api.models.imports.imports import ImportBatch, ImportQuery, ImportRead, ImportTried, Undoing
from api.services.core import resources
from api.services.core.scope import Caller
from api.services.imports import batch, preparing, profiles, refused, stored_imports, undo
from api.services.imports.correcting import correct
from api.services.imports.decimal_signs import NAMED
from api.services.imports.headers import COLUMNS
from api.services.imports.layout.choices import (
    NOT_READ,
    ORDERS,
    SAME_FOR_ALL,
    Choices,
    from_json,
)
from api.services.imports.layout.unclear_titles import UNCLEAR
from api.services.imports.preparing import AS_IT_IS
from api.services.imports.sheet import decode
from api.services.imports.template_file import trials_template
from api.services.imports.workbook import is_workbook
from api.web import forms, rendering
from api.web.descriptions import history_of
from api.web.forms import Field, Filled
from api.web.submitting import sound, tried
from api.web.visitors import OwnTurn, Post, Posted, Received, Visit, Visited

router = APIRouter()
#: A longer sheet is corrected in its file, which is then chosen again.
EDITABLE = 60_000  # [characters]
ROWS_SHOWN, CORRECT, BEFORE, MOST_CORRECTED = 300, "correct", "before", 100
COLUMN_OF, SAME = "column:", "same:"
#: Columns that are asked for first if a sheet does not have them; others after a click.
ASKED_FIRST = ("team", "build", "bench", "session_started_at", "time_of_day", "load_ohm",
               "load_connected", "adult_present")  # fmt: skip
TICKED = ("load_connected", "adult_present")
SKIPPED_SHOWN = 40
REASON = Field("reason", "text", required=True)
ImportId = Annotated[str, Path()]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet that was sent: its text, and the prepared import, or why it cannot be read."""

    text: str
    work: preparing.Prepared | None
    refusal: ApiError | None = None
    #: The parts of a workbook that were not read, in words.
    skipped: tuple[str, ...] = ()
    #: What the visitor said about the sheet.
    choices: Choices = AS_IT_IS

    @property
    def is_editable(self) -> bool:
        """Tell whether the sheet is short enough to correct it in the page."""
        return len(self.text) <= EDITABLE


async def read_sheet(posted: Received) -> Sheet:
    """Read a file or pasted cells before waiting for the turn to write."""
    async with turns(posted.visit.request).reading_file(posted.visit.caller):
        return await run_in_threadpool(_read_sheet, posted)


def _read_sheet(posted: Post) -> Sheet:
    most: int = posted.visit.request.app.state.settings.max_import_rows
    body, text = posted.file("file"), posted.typed().get("cells", "")
    skipped = tuple(posted.text("skipped").splitlines()) if not body else ()
    try:
        if is_workbook(body):
            body, about = preparing.open_workbook(body, most, posted.text("sheet"))
            skipped = tuple(_skipped(about))
        if body:
            text, _ = decode(body)
        text = correct(text, _corrected(posted), most)
        if not text.strip():
            raise Invalid(say("imports.nothing"), [FieldError("empty", say("imports.nothing"))])
        choices = _choices(posted)
        work = profiles.prepare_as_before(
            database(posted.visit.request).reading, posted.visit.caller, text.encode(), most,
            _chosen_sign(posted), choices,
        )  # fmt: skip
        remembered = from_json(work.understood.get("choices", {}))
        return Sheet(text, work, None, skipped, choices if choices != AS_IT_IS else remembered)
    except ApiError as refusal:
        return Sheet(text, None, refusal, skipped)


def _chosen_sign(posted: Post) -> str | None:
    """Return the decimal sign that was chosen in the page, or None."""
    name = posted.text("decimal")
    return name if name in NAMED else None


def _choices(posted: Post) -> Choices:
    """Return what the visitor said about a sheet: columns, values of all rows, order, table."""
    typed = posted.typed()
    order = typed.get("order")
    return Choices(
        columns=_named(typed, COLUMN_OF, {*COLUMNS, NOT_READ}),
        same={name: text for name, text in _named(typed, SAME).items() if name in SAME_FOR_ALL},
        table=typed.get("table", ""),
        order=next((each for each in ORDERS if each == order), None),
    )


def _named(
    typed: Mapping[str, str], prefix: str, among: Collection[str] | None = None
) -> dict[str, str]:
    """Return the values of the fields with a prefix, by the rest of their names."""
    return {
        name.removeprefix(prefix): value.strip()
        for name, value in typed.items()
        if name.startswith(prefix) and value.strip() and (among is None or value in among)
    }


def _skipped(about: Mapping[str, Any]) -> Iterator[str]:
    """Yield sentences on the parts of a workbook that were not read."""
    for name in ("hidden_rows", "hidden_columns", "hidden_sheets", "other_sheets"):
        if about[name]:
            listed = ", ".join(str(each) for each in about[name][:SKIPPED_SHOWN])
            more = " …" if len(about[name]) > SKIPPED_SHOWN else ""
            yield say(f"skipped.{name}", listed=f"{listed}{more}")


def _corrected(posted: Post) -> dict[tuple[int, str], str]:
    """Return the cells that were changed in the page; what is shown may not be what was typed."""
    name_parts = [(name.split(":", 2), value) for name, value in posted.typed().items()]
    return {
        (forms.whole(parts[1]), parts[2]): value.strip()
        for parts, value in name_parts
        if len(parts) == 3
        and parts[0] == CORRECT
        and posted.typed().get(":".join((BEFORE, *parts[1:]))) != value
    }


Sheets = Annotated[Sheet, Depends(read_sheet)]


@router.get("/imports")
def imports_page(visited: Visited) -> Response:
    """Show the form for a file or pasted cells, and the imports of this key."""
    with visited.reading() as db:
        rows = resources.newest(db, visited.caller, ImportBatch, most=50)
    return rendering.show("imports.html", visited, imports=rows, left_out=[say("imports.own_only")])


@router.get("/imports/template.csv")
def template(visited: Visited, decimal: str = "point") -> Response:
    """Give the header and two example rows, with the chosen decimal sign."""
    is_comma = decimal == "comma"
    text = trials_template("semicolon" if is_comma else "comma", "comma" if is_comma else "point")
    return as_file(text, "text/csv", "trials.csv")


@router.post("/imports")
def import_sheet(posted: Received, sheet: Sheets, turn: OwnTurn) -> Response:
    """Show the effect of a sheet; store it only after the visitor has seen it and asks to."""
    limits(posted.visit.request).take_today("imports", posted.visit.caller.key_id)
    wants_stored = posted.text("step") == "store"
    if sheet.work is None:
        return _refused(posted, sheet, sheet.refusal)
    work = sheet.work
    query = ImportQuery(
        dry_run=not wants_stored,
        mode="partial" if posted.text("mode") == "partial" else "all",
        warnings="accept" if posted.text("looked") == "yes" or not wants_stored else "refuse",
    )
    try:
        if wants_stored:
            return posted.once(lambda db, caller: f"/imports/{_stored(db, caller, work, query)}")
        return _tried(posted, sheet, _look(posted, work, query))
    except ApiError as refusal:
        if refusal.errors and all(fault.hint == batch.accept_hint() for fault in refusal.errors):
            preview = _look(posted, work, query.model_copy(update={"dry_run": True}))
            return _tried(posted, sheet, preview, say("imports.tick_first"))
        return _refused(posted, sheet, refusal)


def _look(posted: Post, work: preparing.Prepared, query: ImportQuery) -> ImportRead | ImportTried:
    """Return the effect of a sheet, without storing it."""
    within = posted.visit.caller.organisation_ids
    with database(posted.visit.request).unit_of_work(within) as db:
        return batch.carry_out(db, posted.visit.caller, work, query)


def _stored(db: Session, caller: Caller, work: preparing.Prepared, query: ImportQuery) -> str:
    outcome = batch.carry_out(db, caller, work, query)
    return outcome.id if isinstance(outcome, ImportRead) else ""


def _refused(posted: Post, sheet: Sheet, refusal: ApiError | None) -> Response:
    """Show the faults of a sheet by cell, with the sheet to correct."""
    faults = refusal.errors if refusal else []
    errors = [
        fault.shown()
        | ({"hint": say("imports.tick_first")} if fault.hint == batch.accept_hint() else {})
        for fault in faults
    ]
    return _page(posted, sheet, errors=errors, words=str(refusal), tried=None)


def _tried(
    posted: Post, sheet: Sheet, outcome: ImportRead | ImportTried, words: str = ""
) -> Response:
    """Show the effect of a sheet."""
    errors = [error for row in outcome.rows for error in row.errors]
    return _page(posted, sheet, errors=errors, words=words, tried=outcome)


def _page(
    posted: Post, sheet: Sheet, *, errors: list[dict[str, Any]], words: str,
    tried: ImportRead | ImportTried | None,
) -> Response:  # fmt: skip
    errors = [error for error in _each_once(errors) if not _is_chosen_above(error, sheet)]
    odd_rows = [row for row in tried.rows if row.flags] if tried else []
    understood = sheet.work.understood if sheet.work else {}
    return rendering.show(
        "import_tried.html",
        posted.visit,
        status=422 if errors or words else 200,
        tried=tried,
        words=words,
        errors=errors[:ROWS_SHOWN],
        error_count=len(errors),
        odd_rows=odd_rows[:ROWS_SHOWN],
        sheet=sheet,
        preview=_preview(tried),
        correct=CORRECT,
        before=BEFORE,
        most_corrected=MOST_CORRECTED,
        looked=posted.text("looked"),
        decimal=_chosen_sign(posted),
        choices=sheet.choices,
        columns=COLUMNS,
        unclear=_unclear(sheet),
        asked_same=_asked_same(understood, sheet.choices),
        ticked=TICKED,
        understood=understood,
        asks_sign=sheet.work.understood.get("asks_decimal_sign") if sheet.work else None,
        mode=posted.text("mode"),
        left_out=_unseen(len(errors), len(odd_rows)) + _unread(sheet),
    )


def _unclear(sheet: Sheet) -> set[str | None]:
    """Return the columns of which a person has to say what they are before anything is stored."""
    faults = sheet.work.loose_faults if sheet.work else []
    return {fault.column for fault in faults if fault.code in UNCLEAR}


def _is_chosen_above(error: Mapping[str, Any], sheet: Sheet) -> bool:
    """Tell whether a fault is a column without a title, of which the list above the faults asks."""
    not_read = sheet.work.understood.get("not_read", ()) if sheet.work else ()
    untitled = {column["title"] for column in not_read if column["why"] == "untitled"}
    return error["code"] == "unknown_column" and error.get("column") in untitled


def _asked_same(understood: Mapping[str, Any], choices: Choices) -> tuple[list[str], list[str]]:
    """Return the columns to ask for once, those that most sheets need first."""
    asked = [*understood.get("asks_same", ()), *choices.same]
    every = list(dict.fromkeys(asked))
    return [name for name in every if name in ASKED_FIRST], [
        name for name in every if name not in ASKED_FIRST
    ]


def _each_once(errors: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return each fault once: a row of several readings has it in each of them."""
    once: dict[tuple[object, ...], dict[str, Any]] = {}
    for error in errors:
        once.setdefault((error.get("row"), error.get("column"), error["code"]), error)
    return list(once.values())


def _preview(tried: ImportRead | ImportTried | None) -> tuple[list[str], list[dict[str, Any]]]:
    """Return the first rows as they were read, and all their columns."""
    rows = tried.understood.get("first_rows", []) if tried else []
    return list(dict.fromkeys(name for row in rows for name in row)), rows


def _unseen(errors: int, odd_rows: int) -> list[str]:
    more = max(errors, odd_rows) - ROWS_SHOWN
    return [say("imports.more", count=more)] if more > 0 else []


def _unread(sheet: Sheet) -> list[str]:
    listed = "; ".join(sheet.skipped)
    return [f"{say('imports.skipped')} {listed}."] if listed else []


@router.get("/imports/{import_id}")
def import_page(import_id: ImportId, visited: Visited) -> Response:
    """Show an import row by row, with the way to undo it."""
    return _import(visited, import_id, Filled([REASON]))


def _import(visited: Visit, import_id: str, filled: Filled) -> Response:
    with visited.reading() as db:
        stored_import = stored_imports.get(db, visited.caller, import_id)
        done = history_of(db, visited, ImportBatch, import_id)
    notable = [
        row for row in stored_import.rows if row.errors or row.flags or row.outcome == "created"
    ]
    return rendering.show(
        "import.html",
        visited,
        status=422 if filled.is_wrong else 200,
        found=stored_import,
        filled=filled,
        rows=notable[:ROWS_SHOWN],
        history=done,
        has_refused=bool(stored_import.outcomes.get("error")),
        left_out=_unseen(len(notable), 0),
    )


@router.post("/imports/{import_id}/undo")
def undo_import(import_id: ImportId, posted: Posted) -> Response:
    """Undo a complete import."""
    filled, values = forms.read([REASON], posted.typed())

    def work(db: Session, caller: Caller) -> str:
        undo.undo(db, caller, import_id, sound(Undoing, filled, values))
        return f"/imports/{import_id}"

    return tried(posted, filled, work) or _import(posted.visit, import_id, filled)


@router.get("/imports/{import_id}/errors.csv")
def errors(import_id: ImportId, visited: Visited) -> Response:
    """Give the refused rows unchanged, each with its problem."""
    with visited.reading() as db:
        text = refused.errors_csv(db, visited.caller, import_id)
    return as_file(text, "text/csv; charset=utf-8", "errors.csv")
