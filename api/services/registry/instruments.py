"""Compare instruments with one another; the newest comparison dates a wind meter."""

from sqlmodel import Session, col

from analysis.calibration import InstrumentRatio, compare_instruments
from analysis.errors import AnalysisError
from api.errors import FieldError, Invalid
from api.messages import say
from api.messages.reasons import say_reason
from api.models.core.shapes import ListQuery
from api.models.registry.equipment import Equipment
from api.models.registry.loans import CheckCreate, CheckRead, InstrumentCheck
from api.services.core import audit, pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.measurements import rechecks
from api.services.registry import loans

WIND_METER, ROTOR = "anemometer", "reference_rotor"


def check(db: Session, caller: Caller, equipment_id: str, comparison: CheckCreate) -> CheckRead:
    """Store a comparison of an instrument with another one."""
    item = resources.get_row(db, caller, Equipment, equipment_id)
    require_owner(caller, item.organisation_id)
    if comparison.against_id is not None:
        resources.get_row(db, caller, Equipment, comparison.against_id, "against_id")
    if comparison.against_id == item.id:
        words = say("refused.same_instrument")
        raise Invalid(words, [FieldError("same_instrument", words, pointer="/against_id")])
    loans.require_not_ahead(comparison.checked_on, "checked_on")
    pairs = [pair.model_dump() for pair in comparison.pairs]
    try:
        _ratio(pairs)
    except AnalysisError as error:
        words = say_reason(str(error))
        raise Invalid(words, [FieldError("ratio", words, pointer="/pairs")]) from error
    revisions.raise_all(db)
    resources.lock(db, item)
    row = resources.store(
        db,
        caller,
        InstrumentCheck,
        comparison,
        equipment_id=item.id,
        organisation_id=item.organisation_id,
        pairs=pairs,
    )
    _date(db, caller, item, row)
    return _read(row, item)


def _date(db: Session, caller: Caller, item: Equipment, row: InstrumentCheck) -> None:
    """Note on a wind meter's data sheet when it last passed a comparison."""
    before, day = item.spec.get("checked_on"), row.checked_on.isoformat()
    is_fine = ratio_of(row).verdict == "fine"
    if item.kind != WIND_METER or not is_fine or (before is not None and before >= day):
        return
    item.spec = item.spec | {"checked_on": day}
    item.version += 1
    db.flush()
    audit.note(db, caller, "changed", item, {"spec.checked_on": [before, day]})
    rechecks.recheck(db, *rechecks.depending_on(item.id))


def page(
    db: Session, caller: Caller, equipment_id: str, query: ListQuery
) -> tuple[list[CheckRead], Rest]:
    """Return a page of the comparisons of one piece of equipment."""
    item = resources.get_row(db, caller, Equipment, equipment_id)
    of_item = col(InstrumentCheck.equipment_id) == item.id
    rows, after = pages.page(db, caller, InstrumentCheck, query, of_item)
    return [_read(row, item) for row in rows], after


def _ratio(pairs: list[dict[str, float]]) -> InstrumentRatio:
    return compare_instruments(
        [pair["reading"] for pair in pairs], [pair["reference"] for pair in pairs]
    )


def ratio_of(row: InstrumentCheck) -> InstrumentRatio:
    """Return the ratio of the readings in a stored comparison, with its verdict."""
    return _ratio(row.pairs)


def _read(row: InstrumentCheck, item: Equipment) -> CheckRead:
    result = ratio_of(row)
    return resources.read(
        CheckRead,
        row,
        ratio=result.ratio,
        u_ratio=result.u,
        verdict=result.verdict,
        sentence=_sentence(item, result),
    )


def _sentence(item: Equipment, result: InstrumentRatio) -> str:
    percent_off = 100 * (result.ratio - 1)
    side = "more" if percent_off > 0 else "less"
    advice = "fine" if result.verdict == "fine" else "rotor" if item.kind == ROTOR else "off"
    return say(f"instrument.{side}_{advice}", tag=item.tag, percent=abs(percent_off))
