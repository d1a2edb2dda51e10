"""Base classes of all shapes: inputs, stored rows, answers, queries of lists."""

from collections.abc import Callable
from datetime import UTC, datetime
from functools import cache
from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar

from pydantic import BaseModel as PlainModel
from pydantic import ConfigDict, Field, ModelWrapValidatorHandler, create_model, model_validator
from sqlalchemy import JSON, Index, text
from sqlmodel import Field as Column
from sqlmodel import SQLModel

from api.models.core.faults import fault
from api.models.core.units import Unit, quantity

#: Beyond this no unit can be meant, and arithmetic would leave the floats.
LARGEST_TYPED = 1e300
AsTyped = dict[str, dict[str, Any]]
Shape = TypeVar("Shape", bound="Input")

#: A JSON column whose Python None is the database's NULL, not the JSON word null.
JSON_OR_NULL = JSON(none_as_null=True)


def _list_spellings(schema: dict[str, Any]) -> None:
    """Add the other units of each quantity to a JSON Schema.

    A quantity that is needed may come in any of its units, so that none of its names is required.
    """
    properties: dict[str, Any] = schema.get("properties", {})
    required: list[str] = schema.get("required", [])
    for field in list(properties):
        measured = quantity(field)
        spellings = measured.spellings() if measured else {}
        for name, unit in spellings.items():
            words = f"Instead of {field}, in {unit.symbol}."
            properties[name] = _of_numbers(properties[field]) | {"description": words}
        if spellings and field in required:
            required.remove(field)
            words = properties[field].get("description", "")
            properties[field]["description"] = f"{words} Needed, in one of its units.".strip()


def _of_numbers(schema: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a number, or of a list of them, without its SI limits."""
    branches = schema.get("anyOf", [schema])
    is_list = any(branch.get("type") == "array" for branch in branches)
    number = {"type": "number"}
    return {"type": "array", "items": number} if is_list else number


class Untabled(SQLModel):
    """A shape without a table: pydantic builds its nested shapes without the work of SQLModel.

    Its validator is built at the first use, as most uses of the service need few of them.
    """

    model_config = ConfigDict(defer_build=True)  # type: ignore[assignment]  # SQLModel narrows it
    __init__ = PlainModel.__init__
    __setattr__ = PlainModel.__setattr__  # type: ignore[assignment]  # names differ, and nothing else

    def __new__(cls, *_: Any, **__: Any) -> Self:
        """Return a bare shape, without the state that SQLModel adds for tables."""
        return object.__new__(cls)


class Input(Untabled):
    """A request body: no unknown fields, and each quantity in one of several units.

    Its validator is built at once: FastAPI silences a warning of pydantic only while it makes a
    route.
    """

    model_config = ConfigDict(extra="forbid", json_schema_extra=_list_spellings, defer_build=False)

    def typed(self) -> AsTyped:
        """Return the values that were typed in other units, with these units."""
        as_typed: AsTyped = self.__dict__.get("_typed_units", {})
        return as_typed

    @model_validator(mode="wrap")
    @classmethod
    def read_units(cls, data: Any, handler: ModelWrapValidatorHandler["Input"]) -> "Input":
        """Turn other units into SI before the limits are asked, and remember what was typed."""
        if not isinstance(data, dict):
            return handler(data)
        plain, typed = _to_si(data, _fields_of(cls))
        shape = handler(plain)
        if typed:
            shape.__dict__["_typed_units"] = typed
        return shape


@cache
def _fields_of(shape: type[SQLModel]) -> frozenset[str]:
    return frozenset(shape.model_fields)


def _to_si(data: dict[str, Any], fields: frozenset[str]) -> tuple[dict[str, Any], AsTyped]:
    """Return data with every quantity under its own name, and what was typed otherwise."""
    if fields.issuperset(data):
        return data, {}
    plain, typed = dict(data), {}
    spellings = _spellings(fields)
    for name in data:
        if name in fields or name not in spellings:
            continue
        field, unit = spellings[name]
        if field in plain:
            raise fault("twice", "fault.two_units", field=field)
        value = plain.pop(name)
        plain[field] = _converted(value, unit)
        if value is not None:
            typed[field] = {"value": value, "unit": unit.symbol, "field": name}
    return plain, typed


def _converted(value: Any, unit: Unit) -> Any:
    """Return a number, or each number of a list, in SI; anything else as it came."""
    if isinstance(value, list):
        return [_converted(each, unit) for each in value]
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return unit.to_si(value) if is_number and abs(value) < LARGEST_TYPED else value


@cache
def _spellings(fields: frozenset[str]) -> dict[str, tuple[str, Any]]:
    return {
        name: (field, unit)
        for field in fields
        if (measured := quantity(field)) is not None
        for name, unit in measured.spellings().items()
        if name not in fields
    }


def _now() -> datetime:
    return datetime.now(UTC)


def _as_created(context: Any) -> datetime:
    """Return when the row of an insert was stored, which is also when it was last changed."""
    created_at: datetime = context.get_current_parameters()["created_at"]
    return created_at


class Recorded(SQLModel):
    """The columns of every thing in addition to its facts; `prefix` begins its ids.

    A row that is only recorded never changes.
    """

    #: Few tables are ever validated: their validators are built at the first use.
    model_config = ConfigDict(defer_build=True)  # type: ignore[assignment]  # SQLModel narrows it
    prefix: ClassVar[str]

    id: str = Column(primary_key=True)
    version: int = 1
    created_at: datetime = Column(default_factory=_now)
    as_typed: AsTyped = Column(default_factory=dict, sa_type=JSON)


class Stored(Recorded):
    """The columns of every thing that may change."""

    #: Set by every update of the row. It may be NULL only because a table in use gets it that way.
    updated_at: datetime = Column(
        default=None,
        nullable=True,
        sa_column_kwargs={"default": _as_created, "onupdate": _now},
    )


class RecordedAnswer(Untabled):
    """The first fields of every answer about a stored thing."""

    id: Annotated[str, Field(description="Public id.")]
    version: Annotated[int, Field(description="Number of this state; the ETag begins with it.")]
    created_at: Annotated[datetime, Field(description="When it was stored, in UTC.")]
    as_typed: Annotated[
        AsTyped, Field(description="Values that came in another unit, as they were typed.")
    ]


class Answer(RecordedAnswer):
    """The first fields of every answer about a thing that may change."""

    updated_at: Annotated[
        datetime,
        Field(description="When it was last changed, in UTC; a trial also when its figures were."),
    ]


def unique_where_null(table: str, owner: str, name: str) -> Index:
    """Return the index that keeps names apart among things without an owner.

    A unique constraint does not: to a database no two NULLs are the same owner.
    """
    unowned = text(f"{owner} IS NULL")
    return Index(
        f"uq_{table}_unowned_{name}",
        name,
        unique=True,
        sqlite_where=unowned,
        postgresql_where=unowned,
    )


def changes_of(facts: type[SQLModel], *names: str) -> Callable[[type[Shape]], type[Shape]]:
    """Give a class some fields of another, each of which may be left out.

    A field that is left out keeps its value; `null` clears one that may be empty (RFC 7396).
    """

    def add_fields(shape: type[Shape]) -> type[Shape]:
        fields: dict[str, Any] = {
            name: (facts.model_fields[name].rebuild_annotation(), None) for name in names
        }
        made: type[Shape] = create_model(
            shape.__name__,
            __base__=shape,
            __doc__=shape.__doc__,
            __module__=shape.__module__,
            **fields,
        )
        return made

    return add_fields


#: Parameters of a list that choose none of its things.
ABOUT_THE_PAGE = {"limit", "cursor", "sort", "fields", "expand", "total"}
ORDERED_BY = "The order; with `-` the newest or the last comes first."


class PageQuery(PlainModel):
    """Which page of a list, in which order, and what of each thing."""

    model_config = ConfigDict(extra="forbid")

    limit: Annotated[int, Field(ge=1, le=200, description="Most things on one page.")] = 50
    cursor: Annotated[
        str | None, Field(max_length=900, description="The `next` of the page before.")
    ] = None

    sort: str = "created_at"
    fields: Annotated[
        str | None,
        Field(
            max_length=1000,
            description="Only these fields of each thing, with commas between their names. The "
            "others are missing then, though the shape of the answer requires them.",
        ),
    ] = None
    expand: Annotated[
        str | None,
        Field(
            max_length=300,
            description="Things to show whole beside their ids, with commas between them, such as "
            "`build.turbine.team,session`: `build_id` is joined by `build`.",
        ),
    ] = None
    total: Annotated[bool, Field(description="Also count the things of all pages, as `total`.")] = (
        False
    )

    def filters(self) -> dict[str, Any]:
        """Return the filters of the list."""
        return self.model_dump(exclude_none=True, exclude=ABOUT_THE_PAGE)

    def onwards(self, cursor: str) -> dict[str, Any]:
        """Return the query of the next page."""
        asked = self.model_dump(mode="json", exclude_defaults=True)
        return asked | {"limit": self.limit, "cursor": cursor}

    def column_filters(self) -> dict[str, Any]:
        """Return the filters by columns of the things themselves."""
        return self.filters()


class ListQuery(PageQuery):
    """Which page of a list, in the order in which its things were stored."""

    sort: Annotated[Literal["created_at", "-created_at"], Field(description=ORDERED_BY)] = (
        "created_at"
    )


class NamedListQuery(PageQuery):
    """Which page of a list of things with names."""

    sort: Annotated[
        Literal["created_at", "-created_at", "name", "-name"], Field(description=ORDERED_BY)
    ] = "created_at"
