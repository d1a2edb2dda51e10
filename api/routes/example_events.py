"""Examples of an event: rules, inspections, readiness, run order, official runs and results."""

from typing import Any

from api.routes.example_things import (
    BLD,
    ERUN_MOMENT,
    EVT,
    INSP,
    MOMENT,
    ORG,
    RORD,
    SEA,
    SES,
    TEAM,
    TURB,
    stored,
)

RULE = {
    "id": "rotor_size",
    "words": "Rotor no wider than 60 cm",
    "severity": "must",
    "kind": "limit",
    "field": "build.rotor_diameter_m",
    "op": "<=",
    "value": 60.0,
    "unit": "cm",
    "tolerance": 0.2,
}
RULE_SET = {"name": "Example rules", "version": 1, "checks": [RULE]}
EVENT = {
    "season_id": SEA,
    "name": "Spring meeting",
    "held_on": "2026-05-16",
    "wind_speed_m_s": 4.3,
    "best_of": 2,
    "rule_set": RULE_SET,
}
FINDING = {
    "check": "pull_test",
    "outcome": "pass",
    "measured": 60.0,
    "u": 1.0,
    "evidence": "each blade, luggage scale",
}
INSPECTION = {
    "build_id": BLD,
    "build_version": 2,
    "inspector": "event steward",
    "findings": [FINDING],
}
SAFETY = {
    "build_id": BLD,
    "wind_speed_m_s": 4.3,
    "runaway_speed_rpm": 1095.0,
    "runaway_tip_speed_m_s": 25.8,
    "balance_radius_m": 0.12,
    "blade_force_n": 18.9,
    "blade_weights": 161.0,
    "blade_energy_j": 1.14,
    "pull_test_n": 37.9,
    "thrust_n": 1.44,
    "tipping_ratio": 2.9,
    "needs_guard": False,
    "sentences": [
        "Each blade then pulls with 19 N, 161 times its weight, so it must hold 38 N (3.9 kgf) "
        "when you pull it at rest."
    ],
    "cautions": ["The school's own risk assessment, local rules and licensed practice decide."],
}
CHECK = {
    "id": "rotor_size",
    "words": "Rotor no wider than 60 cm",
    "severity": "must",
    "outcome": "not_shown",
    "value": 60.1,
    "limit": 60.0,
    "unit": "cm",
    "tolerance": 0.2,
    "sentence": "Rotor no wider than 60 cm: it is 60.1 cm, where at most 60 cm is asked; your "
    "measuring cannot tell which side that is. Measure again with the official gauge.",
    "evidence": None,
    "inspector": None,
    "inspected_at": None,
}
DRIFT_WORDS = "The reference rotor moved by 2.1 % over its 5 runs; results are corrected for that."
RESULTS = {
    "event_id": EVT,
    "as_of": MOMENT,
    "best_of": 2,
    "drift_decision": None,
    "drifts": [
        {
            "session_id": SES,
            "reference_runs": 5,
            "drift_pct": 2.1,
            "needs_decision": False,
            "sentence_key": "drift.fine",
            "sentence": DRIFT_WORDS,
        }
    ],
    "runs": [
        {
            "position": 2,
            "team_id": TEAM,
            "team_name": "Larch (Tarnwick)",
            "build_number": 3,
            "outcome": "ok",
            "power_w": 0.0712,
            "corrected_power_w": 0.0718,
            "state": "accepted",
        }
    ],
    "places": [
        {
            "place": 1,
            "places": [1, 3],
            "team_id": TEAM,
            "team_name": "Larch (Tarnwick)",
            "best_w": 0.0718,
            "interval_w": [0.0689, 0.0748],
            "runs": 2,
        }
    ],
    "sentence": "24 teams have a result.",
    "reason": None,
}
EVENT_EXAMPLES: dict[str, Any] = {
    "EventCreate": EVENT,
    "EventUpdate": {"wind_speed_m_s": 4.5},
    "EventRead": stored(EVT, EVENT, {"place": None, "note": None, "drift_decision": None}),
    "RuleSet": RULE_SET,
    "InspectionCreate": INSPECTION,
    "InspectionRead": stored(
        INSP,
        INSPECTION,
        {
            "event_id": EVT,
            "season_id": SEA,
            "organisation_id": ORG,
            "turbine_id": TURB,
            "findings": [FINDING | {"rested_on": {"build.blade_mass_kg": 0.012}}],
        },
    ),
    "SafetyRead": SAFETY,
    "EventReadiness": {
        "event_id": EVT,
        "event_name": "Spring meeting",
        "held_on": "2026-05-16",
        "days_left": 21,
        "as_of": MOMENT,
        "rule_set": "Example rules, version 1",
        "counts": {"not ready": 0, "open": 1, "nearly": 0, "ready": 0},
        "teams": [
            {
                "team_id": TEAM,
                "team_name": "Larch",
                "organisation_id": ORG,
                "build_id": BLD,
                "build_number": 3,
                "build_version": 2,
                "status": "open",
                "next_action": CHECK["sentence"],
                "checks": [CHECK],
                "safety": SAFETY,
            }
        ],
        "reason": None,
        "cautions": SAFETY["cautions"],
    },
    "Drawing": {"seed": 20260516},
    "RunOrderRead": stored(
        RORD,
        {
            "event_id": EVT,
            "seed": 20260516,
            "slots": [
                {"position": 1, "attempt": 1, "block": 0, "team_id": None,
                 "words": "reference rotor"},
                {"position": 2, "attempt": 1, "block": 1, "team_id": TEAM,
                 "words": "Larch (Tarnwick)"},
            ],
        },
    ),
    "ResultsCreate": {
        "session_id": SES,
        "runs": [
            {
                "position": 2,
                "build_id": BLD,
                "outcome": "ok",
                "run_at": ERUN_MOMENT,
                "trial": {
                    "load_ohm": 22.0,
                    "load_connected": True,
                    "meter_range_v": 2.0,
                    "runs": [{"voltage_v": 1.25, "duration_s": 30}],
                },
            }
        ],
    },
    "EventResults": RESULTS,
}  # fmt: skip
