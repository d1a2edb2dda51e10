"""Examples of equipment: registered, lent, compared, and a reference rotor's assigned power."""

from typing import Any

from api.routes.example_things import BCH, BLD, CHK, EQP, LOAN, MOMENT, ORG, stored

EQUIPMENT = {
    "organisation_id": ORG,
    "kind": "meter",
    "tag": "M-03",
    "spec": {"counts": 1999, "percent": 0.5, "digits": 2},
    "condition": "good",
    "spares": 0,
}
LOAN_NEW = {
    "organisation_id": ORG,
    "lent_on": "2026-02-10",
    "due_on": "2026-06-01",
    "condition_out": "good",
    "spares_out": 2,
    "signed_by": "science teacher",
}
CHECK_NEW = {
    "checked_on": "2026-02-09",
    "against_id": EQP,
    "pairs": [{"reading": 4.1, "reference": 4.0}, {"reading": 4.3, "reference": 4.2}],
}
EQUIPMENT_EXAMPLES: dict[str, Any] = {
    "EquipmentCreate": EQUIPMENT,
    "EquipmentUpdate": {"note": "battery changed"},
    "EquipmentRead": stored(
        EQP,
        EQUIPMENT,
        {
            "note": None,
            "retired_on": None,
            "is_lent": True,
            "holder_id": ORG,
            "due_on": "2026-06-01",
            "days_overdue": 0,
        },
    ),
    "LoanCreate": LOAN_NEW,
    "LoanOfEquipment": LOAN_NEW | {"equipment_id": EQP},
    "LoanRead": stored(
        LOAN,
        LOAN_NEW,
        {
            "note": None,
            "equipment_id": EQP,
            "tag": "M-03",
            "owner_id": None,
            "returned_on": None,
            "condition_in": None,
            "spares_in": None,
            "days_overdue": 0,
        },
    ),
    "Returning": {"returned_on": "2026-05-28", "condition_in": "worn", "spares_in": 1},
    "CheckCreate": CHECK_NEW,
    "CheckRead": stored(
        CHK,
        CHECK_NEW,
        {
            "equipment_id": EQP,
            "note": None,
            "ratio": 1.0244,
            "u_ratio": 0.0006,
            "verdict": "fine",
            "sentence": "W-02 reads 2.4 % more than the other: fine.",
        },
    ),
    "Assigning": {"bench_id": BCH},
    "Assigned": {
        "build_id": BLD,
        "version": 2,
        "assigned_power_w": 0.0603,
        "u": 0.012,
        "runs": 12,
        "days": 4,
        "assigned_at": MOMENT,
    },
}
