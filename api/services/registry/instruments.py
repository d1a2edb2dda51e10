"""Instruments compared with one another; the newest comparison dates a wind meter."""

from sqlmodel import Session, col

from analysis.calibration import InstrumentRatio, compare_instruments
from analysis.errors import AnalysisError
from api.errors import FieldError, Invalid
from api.messages import say
from api.messages.reasons import say_reason
from api.models.core.shapes import PageQuery
from api.models.registry.equipment import Equipment
from api.models.registry.loans import CheckCreate, CheckRead, InstrumentCheck
from api.services.core import audit, resources, revisions
from api.services.core.scope import Caller, require_owner
from api.services.measurements import flags
from api.services.registry import loans

WIND_METER, ROTOR = "anemometer", "reference_rotor"


def check(db: Session, caller: Caller, equipment_id: str, given: CheckCreate) -> CheckRead:
    """Store how an instrument reads against another."""
    item = resources.get_row(db, caller, Equipment, equipment_id)
    require_owner(caller, item.organisation_id)
    if given.against_id is not None:
        resources.get_row(db, caller, Equipment, given.against_id, "against_id")
    if given.against_id == item.id:
        words = say("refused.same_instrument")
        raise Invalid(words, [FieldError("same_instrument", words, pointer="/against_id")])
    loans.require_not_ahead(given.checked_on, "checked_on")
    pairs = [pair.model_dump() for pair in given.pairs]
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
        given,
        equipment_id=item.id,
        organisation_id=item.organisation_id,
        pairs=pairs,
    )
    _date(db, caller, item, row)
    return _read(row, item)


def _date(db: Session, caller: Caller, item: Equipment, row: InstrumentCheck) -> None:
    """Note on a wind meter's sheet when it was last found fine."""
    before, day = item.spec.get("checked_on"), row.checked_on.isoformat()
    is_fine = ratio_of(row).verdict == "fine"
    if item.kind != WIND_METER or not is_fine or (before is not None and before >= day):
        return
    item.spec = item.spec | {"checked_on": day}
    item.version += 1
    db.flush()
    audit.note(db, caller, "changed", item, {"spec.checked_on": [before, day]})
    flags.recheck(db, *flags.resting_on(item.id))


def page(
    db: Session, caller: Caller, equipment_id: str, query: PageQuery
) -> tuple[list[CheckRead], str | None]:
    """Return a page of the comparisons of one piece of equipment."""
    item = resources.get_row(db, caller, Equipment, equipment_id)
    mine = col(InstrumentCheck.equipment_id) == item.id
    rows, after = resources.page(db, caller, InstrumentCheck, query, mine)
    return [_read(row, item) for row in rows], after


def _ratio(pairs: list[dict[str, float]]) -> InstrumentRatio:
    return compare_instruments(
        [pair["reading"] for pair in pairs], [pair["reference"] for pair in pairs]
    )


def ratio_of(row: InstrumentCheck) -> InstrumentRatio:
    """Return how an instrument read in a stored comparison."""
    return _ratio(row.pairs)


def _read(row: InstrumentCheck, item: Equipment) -> CheckRead:
    found = ratio_of(row)
    return resources.read(
        CheckRead,
        row,
        ratio=found.ratio,
        u_ratio=found.u,
        verdict=found.verdict,
        sentence=_sentence(item, found),
    )


def _sentence(item: Equipment, found: InstrumentRatio) -> str:
    off = 100 * (found.ratio - 1)
    side = "more" if off > 0 else "less"
    advice = "fine" if found.verdict == "fine" else "rotor" if item.kind == ROTOR else "off"
    return say(f"instrument.{side}_{advice}", tag=item.tag, percent=abs(off))
