"""Ids and a moment of the invented scenario that all examples are from."""

from typing import Any

ORG, SEA, TEAM = "org_01KC" + "0" * 22, "sea_01KC" + "0" * 22, "team_01KC" + "0" * 22
EQP, TURB, BLD = "eqp_01KC" + "0" * 22, "turb_01KC" + "0" * 22, "bld_01KC" + "0" * 22
BCH, SES, TRL = "bch_01KC" + "0" * 22, "ses_01KC" + "0" * 22, "trl_01KC" + "0" * 22
KEY, GRID, IMP, FLG = (
    "key_01KC" + "0" * 22,
    "grid_01KC" + "0" * 22,
    "imp_01KC" + "0" * 22,
    "flg_01KC" + "0" * 22,
)
EVT = "evt_01KC" + "0" * 22
AUD = "aud_01KC" + "0" * 22
MOMENT = "2026-03-05T14:30:00Z"
INSP, RORD = "insp_01KC" + "0" * 22, "rord_01KC" + "0" * 22
ERUN_MOMENT = "2026-05-16T10:20:00+01:00"
WHK, MSG = "whk_01KC" + "0" * 22, "msg_01KC" + "0" * 22
LOAN, CHK = "loan_01KC" + "0" * 22, "chk_01KC" + "0" * 22


def stored(row_id: str, *facts: dict[str, Any]) -> dict[str, Any]:
    """Return what a thing is answered as: its facts behind an id."""
    return recorded(row_id, {"updated_at": MOMENT}, *facts)


def recorded(row_id: str, *facts: dict[str, Any]) -> dict[str, Any]:
    """Return what a thing that never changes is answered as."""
    answer: dict[str, Any] = {"id": row_id, "version": 1, "created_at": MOMENT, "as_typed": {}}
    for each in facts:
        answer |= each
    return answer
