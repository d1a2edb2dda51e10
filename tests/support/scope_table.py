"""List the expected statuses of each operation of the OpenAPI document, one row per operation.

`own` is a thing of the caller's school, `other` one of a school that the key does not reach.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.support.makers import (
    School,
    build_payload,
    loan_payload,
    season_payload,
    session_payload,
    trial_payload,
)


@dataclass(frozen=True)
class Row:
    """Expected statuses; `None` if there is no such case."""

    reader_own: int
    coach_own: int
    lead: int
    coach_other: int | None = 404
    needs_key: bool = True
    body: Callable[[School], Any] | None = None
    #: Parameters of the path that are ids of an unusual thing of the school.
    at: dict[str, str] = field(default_factory=dict)


def opened(status: int = 200) -> Row:
    return Row(status, status, status, coach_other=None, needs_key=False)


def listed() -> Row:
    return Row(200, 200, 200, coach_other=None)


def shown() -> Row:
    return Row(200, 200, 200)


def written(body: Callable[[School], Any], other: int | None = 404) -> Row:
    return Row(403, 201, 201, coach_other=other, body=body)


def changed(body: dict[str, Any]) -> Row:
    return Row(403, 200, 200, body=lambda school: body)


def lead_only(lead: int, body: Callable[[School], Any] | None = None) -> Row:
    return Row(403, 403, lead, coach_other=403, body=body)


def new_team(school: School) -> Any:
    return {
        "organisation_id": school.organisation_id,
        "season_id": school.season_id,
        "name": "Another",
    }


def new_equipment(school: School) -> Any:
    return {"organisation_id": school.organisation_id, "kind": "other", "tag": "T-1"}


def new_turbine(school: School) -> Any:
    return {"team_id": school.team_id, "name": "Second"}


def new_bench(school: School) -> Any:
    return {
        "organisation_id": school.organisation_id,
        "name": "Gym",
        "fan_id": school.fan_id,
        "fan_setting": "1",
        "distance_m": 1.0,
        "anemometer_id": school.anemometer_id,
    }


def new_session(school: School) -> Any:
    return session_payload(school, started_at="2026-03-12T14:30:00Z")


def new_event(school: School) -> Any:
    return {"season_id": school.season_id, "name": "Meeting", "held_on": "2026-05-16"}


def several(body: Callable[[School], Any]) -> Callable[[School], Any]:
    """Return the body of a request for one thing as that of a request for several."""
    return lambda school: {"items": [body(school)]}


#: A logger's file, sent as it is.
SERIES = "time_s,voltage_v\n0.0,1.20\n0.5,1.21\n1.0,1.19\n"

#: An empty zip file, which is no season.
ZIP_OF_NOTHING = b"PK\x05\x06" + b"\0" * 18

TABLE: dict[str, Row] = {
    "get_health": opened(),
    "get_readiness": opened(),
    "get_meta": opened(),
    "create_season": lead_only(201, lambda s: season_payload(name="Autumn")),
    "list_seasons": listed(),
    "get_current_season": listed(),
    "get_season": Row(200, 200, 200, coach_other=None),
    "change_season": lead_only(200, lambda s: {"name": "Spring again"}),
    "export_season": lead_only(200),
    "export_organisation": shown(),
    "import_season": lead_only(422, lambda s: ZIP_OF_NOTHING),
    "create_organisation": lead_only(201, lambda s: {"name": "Rowan school"}),
    "list_organisations": listed(),
    "get_organisation": shown(),
    "change_organisation": changed({"altitude_m": 100.0}),
    "create_key": lead_only(
        201,
        lambda s: {"label": "new", "role": "reader", "organisation_ids": [s.organisation_id]},
    ),
    "list_keys": lead_only(200),
    "get_key": lead_only(200),
    "change_key": lead_only(200, lambda s: {"label": "renamed"}),
    "create_team": written(new_team),
    "list_teams": listed(),
    "get_team": shown(),
    "change_team": changed({"size": 3}),
    "create_equipment": written(new_equipment),
    "list_equipment": listed(),
    "get_equipment": shown(),
    "change_equipment": changed({"note": "checked"}),
    "lend_equipment": written(loan_payload),
    "list_equipment_loans": shown(),
    "return_equipment": Row(
        403, 200, 200, body=lambda s: {"returned_on": "2026-05-20"}, at={"equipment_id": "kit_id"}
    ),
    "list_loans": listed(),
    "check_equipment": written(
        lambda s: {"checked_on": "2026-03-01", "pairs": [{"reading": 4.1, "reference": 4.0}]}
    ),
    "list_equipment_checks": shown(),
    "create_turbine": written(new_turbine),
    "list_turbines": listed(),
    "get_turbine": shown(),
    "change_turbine": changed({"gear_ratio": 2.0}),
    "create_build": written(lambda s: build_payload(s.turbine_id)),
    "list_builds": listed(),
    "get_build": shown(),
    "change_build": changed({"note": "measured again"}),
    # What is not a reference rotor is assigned nothing.
    "assign_power": lead_only(409, lambda s: {"bench_id": s.bench_id}),
    "create_bench": written(new_bench),
    "list_benches": listed(),
    "get_bench": shown(),
    "change_bench": changed({"note": "marked"}),
    "measure_wind": written(
        lambda s: {"points": [{"x_radii": 0, "y_radii": 0, "wind_speed_m_s": 4.1}]}
    ),
    "list_wind_grids": shown(),
    "create_session": written(new_session),
    "list_sessions": listed(),
    "get_session": shown(),
    "change_session": changed({"note": "rain"}),
    "submit_trial": written(lambda s: trial_payload(s, client_ref="scope")),
    "list_trials": listed(),
    "get_trial": shown(),
    "get_trial_uncertainty": shown(),
    "change_trial": changed({"note": "seen"}),
    # A row that names another's session is that row's error; nothing is stored.
    "import_trials": written(lambda s: {"trials": [trial_payload(s, client_ref="im")]}, other=422),
    "list_imports": listed(),
    "get_import": shown(),
    # An import is its key's own: the school's reader has none, another coach neither.
    "undo_import": Row(403, 200, 200, body=lambda s: {"reason": "the wrong file"}),
    "get_import_errors": Row(404, 200, 200),
    "get_team_progress": shown(),
    "get_season_plan": Row(200, 200, 200, coach_other=None),
    "get_season_comparison": Row(200, 200, 200, coach_other=None),
    # An event is the programme's: everyone sees it, and of its teams what the comparison shows.
    "create_event": lead_only(201, new_event),
    "list_events": listed(),
    "get_event": Row(200, 200, 200, coach_other=None),
    "change_event": lead_only(200, lambda s: {"best_of": 2}),
    "get_event_outlook": Row(200, 200, 200, coach_other=None),
    "inspect_build": Row(
        403,
        201,
        201,
        coach_other=None,
        body=lambda s: {
            "build_id": s.build_id,
            "build_version": 1,
            "inspector": "steward",
            "findings": [{"check": "hazards", "outcome": "pass"}],
        },
    ),
    "list_inspections": Row(200, 200, 200, coach_other=None),
    "get_event_readiness": Row(200, 200, 200, coach_other=None),
    "draw_run_order": lead_only(201, lambda s: {"seed": 3}),
    "get_run_order": Row(200, 200, 200, coach_other=None),
    # The world's session is not of the event's day.
    "record_results": lead_only(
        422,
        lambda s: {
            "session_id": s.session_id,
            "runs": [{"position": 1, "build_id": s.build_id, "outcome": "did_not_finish"}],
        },
    ),
    "get_event_results": Row(200, 200, 200, coach_other=None),
    "get_build_safety": shown(),
    "get_event_review": Row(200, 200, 200, coach_other=None),
    "correct_trial": Row(
        403, 201, 201, body=lambda s: {"reason": "misread", "changes": {"load_ohm": 22.0}}
    ),
    "attach_series": Row(403, 200, 200, body=lambda s: SERIES),
    # The world's trial counts, so that there is nothing to reinstate.
    "reinstate_trial": Row(403, 409, 409, body=lambda s: {"reason": "it was tight after all"}),
    "confirm_trial": Row(403, 200, 200, body=lambda s: {"reason": "measured again"}),
    "withdraw_trial": Row(403, 200, 200, body=lambda s: {"reason": "a blade was loose"}),
    "create_many_seasons": lead_only(201, several(lambda s: season_payload(name="Autumn"))),
    "create_many_organisations": lead_only(201, several(lambda s: {"name": "Rowan school"})),
    "create_many_keys": lead_only(
        201,
        several(
            lambda s: {"label": "new", "role": "reader", "organisation_ids": [s.organisation_id]}
        ),
    ),
    "create_many_teams": written(several(new_team)),
    "create_many_equipment": written(several(new_equipment)),
    "create_many_turbines": written(several(new_turbine)),
    "create_many_builds": written(several(lambda s: build_payload(s.turbine_id))),
    "create_many_benches": written(several(new_bench)),
    "create_many_loans": written(several(lambda s: loan_payload(s, equipment_id=s.anemometer_id))),
    "create_many_wind_grids": written(
        several(
            lambda s: {
                "bench_id": s.bench_id,
                "points": [{"x_radii": 0, "y_radii": 0, "wind_speed_m_s": 4.1}],
            }
        )
    ),
    "create_many_sessions": written(several(new_session)),
    "create_many_events": lead_only(201, several(new_event)),
    "list_flags": listed(),
    "get_flag": shown(),
    "answer_flag": Row(403, 200, 200, body=lambda s: {"answer": "confirm", "reason": "seen"}),
    "answer_flags": Row(
        403,
        200,
        200,
        body=lambda s: {"flag_ids": [s.flag_id], "answer": "confirm", "reason": "seen"},
    ),
    "get_season_history": Row(200, 200, 200, coach_other=None),
    "get_organisation_history": shown(),
    "get_key_history": Row(404, 404, 200),
    "get_team_history": shown(),
    "get_equipment_history": shown(),
    "get_turbine_history": shown(),
    "get_build_history": shown(),
    "get_bench_history": shown(),
    "get_session_history": shown(),
    "get_trial_history": shown(),
    "get_event_history": Row(200, 200, 200, coach_other=None),
    "get_flag_history": shown(),
    "get_import_history": Row(404, 200, 200),
    "list_audit": lead_only(200),
    "get_season_report": Row(200, 200, 200, coach_other=None),
    "get_results": Row(200, 200, 200, coach_other=None),
    "get_season_quality": Row(200, 200, 200, coach_other=None),
    "get_season_trials": Row(200, 200, 200, coach_other=None),
    "get_organisation_report": shown(),
    "get_team_report": shown(),
    "get_event_sheet": Row(200, 200, 200, coach_other=None),
    "get_equipment_list": listed(),
    "get_trials_template": listed(),
    "get_rule_set_example": listed(),
    "get_rule_set_schema": listed(),
    # Most services allow no hosts, as those of the tests: nothing is created or sent there.
    "create_webhook": Row(
        403,
        409,
        409,
        body=lambda s: {
            "organisation_id": s.organisation_id,
            "url": "https://hooks.example/",
            "kinds": ["import.stored"],
        },
    ),
    "list_webhooks": Row(403, 200, 200, coach_other=None),
    "get_webhook": Row(403, 200, 200),
    "remove_webhook": Row(403, 204, 204),
    "list_webhook_deliveries": Row(403, 200, 200),
    "test_webhook": Row(403, 409, 409),
}
