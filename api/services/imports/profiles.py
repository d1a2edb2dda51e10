"""Remember what a school chose for a sheet, and use it for the next one with the same titles.

The choices are stored with the import; the values of all rows, such as the team or that an adult
was there, are not among them.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager

from sqlmodel import Session, col, select

from api.messages import say
from api.messages.days import day
from api.models.imports.imports import ImportBatch, ImportOrganisation
from api.services.core.scope import Caller
from api.services.imports import preparing
from api.services.imports.layout.choices import Choices, from_json
from api.services.imports.preparing import AS_IT_IS, Prepared

Reading = Callable[[], AbstractContextManager[Session]]


def prepare_as_before(
    reading: Reading,
    caller: Caller,
    body: bytes,
    most_rows: int,
    decimal: str | None = None,
    choices: Choices = AS_IT_IS,
) -> Prepared:
    """Read a file with these choices, or without any as its school read such a sheet before."""
    prepared = preparing.prepare_file(body, most_rows, decimal, choices)
    digest = prepared.understood.get("titles_digest")
    if choices != AS_IT_IS or digest is None:
        return prepared
    with reading() as db:
        before = newest_with(db, caller, digest)
    if before is None:
        return prepared
    again = preparing.prepare_file(
        body, most_rows, decimal, from_json(before.understood["choices"])
    )
    words = say("import_guess.as_before", day=day(before.created_at))
    again.understood["guesses"] = [words, *again.understood.get("guesses", ())]
    return again


def newest_with(db: Session, caller: Caller, digest: str) -> ImportBatch | None:
    """Return the newest import of a sheet with these titles and with choices, by schools in reach.

    The choices are the school's, whichever of its coaches made them.
    """
    of_sheet = col(ImportBatch.understood)["titles_digest"].as_string() == digest
    query = select(ImportBatch).where(
        of_sheet, col(ImportBatch.understood)["choices"].as_string().is_not(None)
    )
    if caller.organisation_ids is not None:
        schools = select(ImportOrganisation.import_id).where(
            col(ImportOrganisation.organisation_id).in_(caller.organisation_ids)
        )
        query = query.where(col(ImportBatch.id).in_(schools))
    return db.scalars(query.order_by(col(ImportBatch.id).desc()).limit(1)).one_or_none()
