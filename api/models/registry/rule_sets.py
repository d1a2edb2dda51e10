"""An event's rules as data: the checks of each build, with facts, units and limits."""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from analysis.event.rules import FACTS, OPERATORS, UNITS
from api.messages import say
from api.models.core.faults import fault
from api.models.core.fields import BestOf, Duration, Label, Load
from api.models.core.shapes import Input
from api.models.core.validation import nearest

MOST_CHECKS, MOST_ITEMS = 100, 30
#: Whatever the rules are, each blade is pulled before it spins in public.
PULL_TEST_ID, PULL_TEST = "pull_test", ("must", "inspection", ">=", "safety.pull_test_n")


def _one_of(allowed: Any, key: str) -> Any:
    """Return the validator of a name from a list; the refusal names the nearest one."""

    def check(name: str) -> str:
        if name not in allowed:
            near = nearest(name, allowed) or say("fault.known", names=", ".join(sorted(allowed)))
            raise fault("unknown_name", key, near=near)
        return name

    return AfterValidator(check)


SYMBOLS = sorted({symbol for family in UNITS.values() for symbol in family})
FactName = Annotated[
    str,
    _one_of(FACTS, "fault.no_fact"),
    Field(json_schema_extra={"enum": sorted(FACTS)}),
]
Operator = Annotated[
    str, _one_of(OPERATORS, "fault.no_operator"), Field(json_schema_extra={"enum": list(OPERATORS)})
]
UnitName = Annotated[
    str, _one_of(SYMBOLS, "fault.no_unit"), Field(json_schema_extra={"enum": SYMBOLS})
]
RuleId = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,39}$")]
Number = Annotated[float, Field(strict=True, ge=-1e9, le=1e9, allow_inf_nan=False)]


class Rule(Input):
    """One thing that the rules ask.

    A `limit` compares a fact with a value, or with another fact. A `declared` fact only has to be
    known. An inspector checks an `inspection`, item by item, and may measure it.
    """

    id: RuleId
    words: Annotated[Label, Field(description="The rule as people read it.")]
    severity: Literal["must", "should"] = "must"
    kind: Literal["limit", "declared", "inspection"]
    field: Annotated[FactName | None, Field(description="The fact it asks about.")] = None
    op: Operator | None = None
    value: Annotated[
        Number | Label | list[Number | Label] | None,
        Field(description="The limit; for `in` a list of what is allowed."),
    ] = None
    value_from: Annotated[
        FactName | None, Field(description="A fact that is the limit, instead of a value.")
    ] = None
    unit: Annotated[
        UnitName | None, Field(description="Of value and tolerance; left out, the fact's own.")
    ] = None
    tolerance: Annotated[
        Number,
        Field(ge=0, description="Beyond the limit by no more: to be measured again. Same unit."),
    ] = 0.0
    items: Annotated[
        tuple[Label, ...], Field(max_length=MOST_ITEMS, description="What an inspector looks at.")
    ] = ()
    touches: Annotated[
        tuple[FactName, ...],
        Field(max_length=MOST_ITEMS, description="Facts whose change asks for a new inspection."),
    ] = ()

    @model_validator(mode="after")
    def fits_its_kind(self) -> "Rule":
        """Refuse what does not belong to the kind, or misses what it needs."""
        has_limit = self.value is not None or self.value_from is not None
        if self.kind != "inspection" and self.field is None:
            raise fault("field_missing", "fault.field_missing", kind=self.kind)
        if self.kind == "limit" and not (self.op and has_limit):
            raise fault("limit_missing", "fault.limit_missing")
        if self.value is not None and self.value_from is not None:
            raise fault("two_limits", "fault.two_limits")
        if (self.op == "in") != isinstance(self.value, list):
            raise fault("list", "fault.list_of_values")
        if (self.op is None) != (not has_limit):
            raise fault("limit_missing", "fault.op_and_limit")
        self._require_unit()
        self._require_kind_of_value()
        self._require_pull_test()
        return self

    def _require_kind_of_value(self) -> None:
        """Refuse words where numbers are compared, and two facts of different units."""
        units = [FACTS[name] for name in (self.field, self.value_from) if name]
        is_words = "" in units or isinstance(self.value, str)
        if self.op in ("<=", ">=") and is_words:
            raise fault("words", "fault.compares_numbers", op=self.op)
        if len(set(units)) > 1:
            raise fault("units_differ", "fault.units_differ", one=self.field, other=self.value_from)

    def _require_pull_test(self) -> None:
        """Refuse a pull test that asks for less than every build must hold."""
        asked = (self.severity, self.kind, self.op, self.value_from)
        if self.id == PULL_TEST_ID and asked != PULL_TEST:
            raise fault("pull_test", "fault.pull_test", fact=PULL_TEST[-1])

    def _require_unit(self) -> None:
        """Refuse a unit that is not one of the fact's."""
        fact = self.field or self.value_from
        own = FACTS[fact] if fact else None
        if self.unit is not None and own is not None and self.unit not in UNITS.get(own, {}):
            key = "fault.other_unit" if own else "fault.without_unit"
            raise fault("unit", key, unit=self.unit, fact=fact, known=", ".join(UNITS.get(own, ())))


class Metric(Input):
    """What is compared on the day."""

    load: Literal["free", "fixed"] = "free"
    load_ohm: Load | None = None
    duration_s: Duration = 30.0
    best_of: BestOf = 1


class RuleSet(Input):
    """The rules of an event."""

    name: Label
    version: Annotated[int, Field(strict=True, ge=1, le=10_000)] = 1
    metric: Metric | None = None
    checks: Annotated[list[Rule], Field(min_length=1, max_length=MOST_CHECKS)]

    @model_validator(mode="after")
    def names_differ(self) -> "RuleSet":
        """Refuse two checks of one id."""
        ids = [check.id for check in self.checks]
        twice = sorted({each for each in ids if ids.count(each) > 1})
        if twice:
            raise fault("twice", "fault.two_checks", ids=", ".join(twice))
        return self
