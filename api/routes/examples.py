"""One example of each shape, from one invented scenario; shown with every operation.

A test validates each of them by its shape.
"""

from typing import Any

from api.routes.example_equipment import EQUIPMENT_EXAMPLES
from api.routes.example_events import EVENT_EXAMPLES
from api.routes.example_reports import REPORT_EXAMPLES
from api.routes.example_things import (
    AUD,
    BCH,
    BLD,
    EQP,
    FLG,
    GRID,
    IMP,
    KEY,
    MOMENT,
    ORG,
    SEA,
    SES,
    TEAM,
    TRL,
    TURB,
    recorded,
    stored,
)
from api.routes.example_webhooks import WEBHOOK_EXAMPLES

SEASON = {
    "name": "Spring 2026",
    "starts_on": "2026-02-02",
    "ends_on": "2026-05-29",
    "timezone": "Europe/Dublin",
}
ORGANISATION = {"name": "Tarnwick", "altitude_m": 310.0, "sharing": "anonymous"}
KEY_NEW = {"label": "Coach, spring laptop", "role": "coach", "organisation_ids": [ORG]}
TEAM_NEW = {"organisation_id": ORG, "season_id": SEA, "name": "Larch", "size": 4}
TURBINE = {"team_id": TEAM, "name": "Larch one", "gear_ratio": 1.0}
BUILD = {"turbine_id": TURB, "rotor_diameter_m": 0.45, "blade_count": 3, "pitch_deg": 12.0}
BENCH = {
    "organisation_id": ORG,
    "name": "Hall fan, setting 2",
    "fan_id": EQP,
    "fan_setting": "2",
    "distance_m": 0.9,
    "anemometer_id": EQP,
}
GRID_NEW = {
    "points": [
        {"x_radii": 0, "y_radii": 0, "wind_speed_m_s": 3.6},
        {"x_radii": 0.75, "y_radii": 0, "wind_speed_m_s": 4.1},
        {"x_radii": 0, "y_radii": 0.75, "wind_speed_m_s": 4.4},
        {"x_radii": -0.75, "y_radii": 0, "wind_speed_m_s": 3.8},
        {"x_radii": 0, "y_radii": -0.75, "wind_speed_m_s": 4.2},
    ]
}
SESSION = {
    "bench_id": BCH,
    "season_id": SEA,
    "started_at": MOMENT,
    "air_temperature_c": 22.0,
    "pressure_hpa": 950.0,
    "relative_humidity_pct": 45.0,
    "wind_speed_start_m_s": 4.2,
    "warm_up_min": 6.0,
    "adult_present": True,
}
TRIAL = {
    "session_id": SES,
    "build_id": BLD,
    "kind": "record",
    "pitch_deg": 12.0,
    "load_ohm": 30.1,
    "load_connected": True,
    "meter_range_v": 2.0,
    "client_ref": "t-017",
    "runs": [{"voltage_v": 1.2, "duration_s": 30}, {"voltage_v": 1.19}, {"voltage_v": 1.21}],
}
RESULT = {
    "power_w": 0.0478,
    "run_count": 3,
    "air_density_kg_m3": 1.116,
    "air_density_source": "measured",
    "wind_speed_m_s": 4.2,
    "wind_speed_source": "session",
    "wind_power_w": 6.58,
    "power_coefficient": 0.00727,
    "rotor_speed_rpm": None,
    "rotor_speed_source": None,
    "tip_speed_ratio": None,
    "specific_power_w_m2": 0.277,
    "normalised_power_w": 0.0441,
    "normalised_power_cubic_w": 0.0453,
    "wind_exponent": 2.6,
    "wind_exponent_source": "default",
    "density_exponent": 0.5,
    "u_own": 0.051,
    "u_bench": 0.143,
    "u_total": 0.152,
    "interval_w": [0.0326, 0.0598],
    "normalisation": "direct",
    "reason": None,
}
COUNTED = {
    "format": "csv",
    "mode": "all",
    "outcomes": {"created": 1, "unchanged": 0, "error": 0},
    "trials": {"created": 1, "unchanged": 0, "error": 0},
    "sessions_created": 1,
}
IMPORTED = COUNTED | {
    "understood": {"encoding": "utf-8", "delimiter": "semicolon", "decimal_sign": ","},
    "rows": [
        {
            "row": 2,
            "client_ref": "t-017",
            "outcome": "created",
            "id": TRL,
            "state": "accepted",
            "flags": [],
            "errors": [],
        }
    ],
}


FLAG = stored(
    FLG,
    {
        "trial_id": TRL,
        "session_id": None,
        "season_id": SEA,
        "organisation_id": ORG,
        "rule": "wind_unit_slip",
        "severity": "hold",
        "message": "9.4 m/s at this bench? It usually has about 4.2. 9.4 mph would be 4.20 m/s.",
        "advice": "Accept the change of unit, or confirm the speed and say why it was different.",
        "proposed_fix": {"thing": "trial", "changes": {"wind_speed_m_s": 4.2022}},
        "state": "open",
        "reason": None,
        "answered_by": None,
        "answered_at": None,
        "about": "Larch, build 2, 05 March 2026, t-017",
    },
)
_RUN = {"current_a": None, "rotor_speed_rpm": None, "wind_speed_m_s": None, "duration_s": 30.0}
_KEY_READ = stored(KEY, KEY_NEW, {"expires_at": None, "revoked_at": None, "sign_in_email": None})

#: By the name of the shape in the OpenAPI document.
EXAMPLES: dict[str, Any] = (
    {
        "Health": {"status": "ok"},
        "Readiness": {
            "status": "ready",
            "schema_at_head": True,
            "disk_low": False,
            "journal": "truncate",
            "backup_age_h": 5.2,
        },
        "Meta": {
            "name": "Gustbook",
            "version": "0.1.0",
            "units": {"power_w": "W"},
            "other_units": {"V": ["mV"]},
        },
        "SeasonCreate": SEASON,
        "SeasonUpdate": {"ends_on": "2026-06-05"},
        "SeasonRead": stored(
            SEA,
            SEASON,
            {
                "reference_wind_speed_m_s": 4.0,
                "reference_air_density_kg_m3": 1.225,
                "rule_set": None,
                "revision": 41,
            },
        ),
        "CurrentSeason": stored(
            SEA,
            SEASON,
            {
                "reference_wind_speed_m_s": 4.0,
                "reference_air_density_kg_m3": 1.225,
                "rule_set": None,
                "revision": 41,
                "chosen_by": "running",
                "sentence": "Spring 2026 is running today.",
                "also_acting": [],
            },
        ),
        "OrganisationCreate": ORGANISATION,
        "OrganisationUpdate": {"altitude_m": 305.0},
        "OrganisationRead": stored(ORG, ORGANISATION, {"timezone": None, "wind_unit": "m_s"}),
        "KeyCreate": KEY_NEW,
        "KeyUpdate": {"revoked": True},
        "KeyRead": _KEY_READ,
        "KeyMade": _KEY_READ | {"key": "gust_01KC…_…"},
        "TeamCreate": TEAM_NEW,
        "TeamUpdate": {"name": "Larch and Alder"},
        "TeamRead": stored(TEAM, TEAM_NEW, {"entry_class": None, "age_band": None}),
        "TurbineCreate": TURBINE,
        "TurbineUpdate": {"gear_ratio": 2.5},
        "TurbineRead": stored(
            TURB,
            TURBINE,
            {
                "organisation_id": ORG,
                "rotor_id": None,
                "generator_id": None,
                "hub_height_m": None,
                "tower_side_m": None,
                "tower_mass_kg": None,
            },
        ),
        "BuildCreate": BUILD,
        "BuildUpdate": {"rotor_diameter_m": 0.46},
        "BuildRead": stored(
            BLD,
            BUILD,
            {
                "organisation_id": ORG,
                "number": 2,
                "parent_build_id": None,
                "changed_factor": "pitch",
                "chord_root_m": None,
                "chord_tip_m": None,
                "blade_mass_kg": 0.012,
                "blade_balance_radius_m": 0.12,
                "blade_fixing": "screwed",
                "material": "card",
                "load_ohm": 30.1,
                "assigned_power_w": None,
                "note": None,
            },
        ),
        "BenchCreate": BENCH,
        "BenchUpdate": {"name": "Hall fan, marked floor"},
        "BenchRead": stored(
            BCH, BENCH, {"room": "Hall", "hub_height_m": None, "tunnel_area_m2": None, "note": None}
        ),
        "WindGridCreate": GRID_NEW,
        "WindGridOfBench": GRID_NEW | {"bench_id": BCH},
        "WindGridRead": stored(
            GRID,
            GRID_NEW,
            {
                "bench_id": BCH,
                "point_count": 5,
                "equivalent_wind_speed_m_s": 4.06,
                "unevenness": 0.077,
                "monitor_wind_speed_m_s": None,
                "measured_at": None,
                "note": None,
            },
        ),
        "SessionCreate": SESSION,
        "SessionUpdate": {"pressure_hpa": 951.0},
        "SessionRead": stored(
            SES,
            SESSION,
            {
                "organisation_id": ORG,
                "wind_speed_end_m_s": None,
                "meter_id": None,
                "fan_setting_used": None,
                "distance_used_m": None,
                "note": None,
            },
        ),
        "TrialCreate": TRIAL,
        "TrialUpdate": {"note": "a blade was tightened before"},
        "TrialRead": stored(
            TRL,
            TRIAL,
            {
                "organisation_id": ORG,
                "season_id": SEA,
                "import_id": None,
                "revision": 41,
                "state": "accepted",
                "pitch_after_deg": None,
                "blade_pitches_deg": None,
                "load_id": None,
                "wind_speed_m_s": None,
                "rotor_diameter_m": None,
                "note": None,
                "runs": [
                    _RUN
                    | {
                        "number": 1,
                        "voltage_v": 1.2,
                        "series_voltage_v": None,
                        "sample_rate_hz": None,
                        "as_typed": {},
                    }
                ],
                "result": RESULT,
                "flags": [FLAG],
            },
        ),
        "Correction": {"reason": "the resistor was the 22 Ω one", "changes": {"load_ohm": 22.0}},
        "Withdrawal": {"reason": "a blade was loose"},
        "Confirmation": {"reason": "measured again, and it is the same"},
        "Reinstatement": {"reason": "the blade was tight after all"},
        "FlagRead": FLAG,
        "FlagAnswersCreate": {
            "flag_ids": ["flg_01KC0000000000000000000000", "flg_01KC0000000000000000000001"],
            "answer": "accept_fix",
        },
        "FlagAnswerCreate": {"answer": "confirm", "reason": "read once more: the number is right"},
        "AuditRead": recorded(
            AUD,
            {
                "season_id": SEA,
                "organisation_id": ORG,
                "thing": "trial",
                "thing_id": TRL,
                "action": "corrected",
                "changes": {"load_ohm": [30.1, 22.0]},
                "reason": "the resistor was the 22 Ω one",
                "key_id": KEY,
                "key_label": "Coach, spring laptop",
            },
        ),
        "ImportListed": stored(IMP, COUNTED, {"undone_at": None}),
        "ImportRead": stored(IMP, IMPORTED, {"undone_at": None}),
        "Undoing": {"reason": "the wrong file"},
        "ImportTried": IMPORTED | {"dry_run": True},
    }
    | EQUIPMENT_EXAMPLES
    | EVENT_EXAMPLES
    | REPORT_EXAMPLES
    | WEBHOOK_EXAMPLES
)
