"""An import: one submitted file or batch, row by row."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import JSON
from sqlmodel import Field as Column
from sqlmodel import SQLModel

from api.models.core.fields import Reason
from api.models.core.ids import OrganisationId, SeasonId
from api.models.core.shapes import JSON_OR_NULL, Answer, Input, ListQuery, Stored

Outcome = Literal["created", "unchanged", "error"]
Mode = Literal["all", "partial"]


class ImportBatch(Stored, table=True):
    """A stored import."""

    __tablename__ = "import_batch"
    prefix: ClassVar[str] = "imp"

    key_id: str = Column(foreign_key="access_key.id", index=True)
    digest: str
    format: str
    mode: str
    understood: dict[str, Any] = Column(sa_type=JSON)
    outcomes: dict[str, int] = Column(sa_type=JSON)
    trials: dict[str, int] = Column(sa_type=JSON)
    sessions_created: int
    rows: list[dict[str, Any]] = Column(sa_type=JSON)
    session_ids: list[str] = Column(default_factory=list, sa_type=JSON)
    refused: dict[str, Any] | None = Column(default=None, sa_type=JSON_OR_NULL)
    undone_at: datetime | None = None


class ImportOrganisation(SQLModel, table=True):
    """One organisation whose trials or sessions an import is about."""

    __tablename__ = "import_organisation"

    import_id: str = Column(foreign_key="import_batch.id", primary_key=True)
    organisation_id: str = Column(foreign_key="organisation.id", primary_key=True, index=True)


@dataclass(slots=True, kw_only=True)
class RowOutcome:
    """What became of one row; the header of a file is row 1."""

    row: int
    client_ref: str | None
    outcome: Outcome
    id: Annotated[str | None, Field(description="The trial's id.")]
    state: Annotated[
        str | None, Field(description="held, where a data check waits for an answer.")
    ] = None
    flags: Annotated[list[str], Field(description="What the data checks say of the trial.")] = (
        field(default_factory=list)
    )
    errors: list[dict[str, Any]]


class ImportCounts(SQLModel):
    """How an import was read, and what became of its rows and trials."""

    format: Annotated[str, Field(description="csv, tsv, xlsx or json")]
    mode: Mode
    outcomes: Annotated[dict[str, int], Field(description="Rows by outcome.")]
    trials: Annotated[dict[str, int], Field(description="Trials by outcome.")]
    sessions_created: int


class ImportListed(ImportCounts, Answer):
    """An import in a list, without its rows."""

    undone_at: Annotated[datetime | None, Field(description="When it was undone, if it was.")]


class ImportListQuery(ListQuery):
    """Which imports to list: a coach's key lists its own."""

    organisation_id: OrganisationId | None = None
    season_id: SeasonId | None = None
    key_id: Annotated[str | None, Field(description="The key that sent it.")] = None
    format: Literal["csv", "tsv", "xlsx", "json"] | None = None
    undone: Annotated[
        bool | None, Field(description="Only those that were undone, or that were not.")
    ] = None

    def column_filters(self) -> dict[str, Any]:
        """Return the filters by columns of the imports themselves."""
        return {name: value for name, value in self.filters().items() if name in OWN_COLUMNS}


#: The filters of imports that are columns of their own table.
OWN_COLUMNS = ("key_id", "format")


class ImportFacts(ImportCounts):
    """The fields of an import, tried or carried out."""

    understood: Annotated[
        dict[str, Any],
        Field(
            description="How the file was read: encoding, delimiter, decimal sign, columns; what "
            "of a workbook is hidden or on other sheets and so was not read; `asks_decimal_sign`: "
            "a number that may have decimals or thousands, with what each sign would mean."
        ),
    ]
    rows: list[RowOutcome]


class ImportRead(ImportFacts, Answer):
    """An import as stored."""

    undone_at: Annotated[datetime | None, Field(description="When it was undone, if it was.")] = (
        None
    )


class Undoing(Input):
    """Why an import is undone."""

    reason: Reason


class ImportTried(ImportFacts):
    """What an import would do; nothing was stored."""

    dry_run: Literal[True]


class ImportQuery(BaseModel):
    """The options of an import."""

    model_config = ConfigDict(extra="forbid")

    dry_run: Annotated[bool, Field(description="Only say what would happen.")] = False
    mode: Annotated[
        Mode, Field(description="all: nothing is stored if a row is wrong; partial: the good rows.")
    ] = "all"
    warnings: Annotated[
        Literal["accept", "refuse"],
        Field(description="refuse: nothing is stored while a data check questions a row of it."),
    ] = "accept"
    decimal: Annotated[
        Literal["point", "comma"] | None,
        Field(
            description="The decimal sign of the file. Left out, its own numbers decide; needed "
            "where one such as 1,200 may mean 1.2 or 1200 and nothing in the file decides."
        ),
    ] = None
    mapping: Annotated[
        str | None,
        Field(
            max_length=20_000,
            description="What a sheet does not say itself, as a JSON object: `columns` (by title, "
            "a column of the template or `not_read`), `same` (by column, a value of all rows; a "
            "build may be `newest`), "
            "`table` (the row of its titles), `sheet` (its name), `order` (`day_first` or "
            "`month_first`).",
        ),
    ] = None
    season_id: Annotated[
        SeasonId | None, Field(description="Needed only where a team's name is in two seasons.")
    ] = None
