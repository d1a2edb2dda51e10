"""List the expected statuses of every page for each role: one row per route, by its name."""

from collections.abc import Callable
from dataclasses import dataclass

from tests.support.makers import School

Typed = dict[str, str]


@dataclass(frozen=True)
class Row:
    """Expected statuses of a page; `other` is that of another school's page, if there is one."""

    reader: int
    coach: int
    lead: int
    other: int | None = 404
    typed: Callable[[School], Typed] | None = None
    #: Query of the address, such as the team of a new turbine.
    query: str = ""


def shown(query: str = "", other: int | None = 404) -> Row:
    return Row(200, 200, 200, other, query=query)


def common(query: str = "") -> Row:
    return Row(200, 200, 200, None, query=query)


def sent(typed: Callable[[School], Typed], reader: int = 403, other: int | None = 404) -> Row:
    return Row(reader, 303, 303, other, typed)


def led(typed: Callable[[School], Typed], lead: int = 303) -> Row:
    return Row(403, 403, lead, None, typed)


OPEN = (
    "start",
    "sign_in_form",
    "sign_in",
    "school_sign_in",
    "school_signed_in",
    "privacy",
    "choose_language",
    "asset",
    "service_worker",
    "offline",
    "reference",
    "reference_subject",
    "problem_page",
    "shared",
    "shared_calendar",
)

TABLE: dict[str, Row] = {
    "account": common(),
    "today_page": common(),
    "questions_page": common(),
    "seasons_page": common(),
    "season_of_today": Row(303, 303, 303, None),
    "choose_season": Row(
        303, 303, 303, None, lambda s: {"season_id": s.season_id, "back": "/today"}
    ),
    "season_page": common(),
    "quality_page": common(),
    "schools_page": common(),
    "school_page": shown(),
    "team_page": shown(),
    "build_page": shown(),
    "bench_page": shown(),
    "session_page": shown(),
    "equipment_page": common(),
    "item_page": shown(),
    "events_page": common(),
    "event_page": common(),
    "inspection": shown(),
    "official_run": Row(403, 403, 200, None),
    # The world's sessions are not of the event's day.
    "enter_official_run": led(
        lambda s: {"session_id": s.session_id, "build_id": s.build_id, "outcome": "did_not_finish"},
        422,
    ),
    "imports_page": common(),
    "template": common(),
    # An import is its key's own: the school's reader has none, another coach neither.
    "import_page": Row(404, 200, 200),
    "errors": Row(404, 200, 200),
    "shares_page": shown("?team_id={team_id}"),
    "trial_sheet": shown(),
    "keys_page": Row(403, 403, 200, None),
    "trial": shown(),
    "correct_form": shown(),
    "flag": shown(),
    "new_trial": shown("?build_id={build_id}&session_id={session_id}"),
    "season_file": common(),
    "season_results": common(),
    "school_results": shown(),
    "team_results": shown(),
    "quality_file": common(),
    "trials_file": common(),
    "school_file": shown(),
    "school_everything": shown(),
    "team_file": shown(),
    "team_handout": shown(),
    "school_handouts": shown(),
    "event_handouts": common(),
    "event_board": common(),
    "styleguide": Row(404, 404, 404, None),
    "compare_page": common("?season_id={season_id}&team_id={team_id}"),
    "compare_pdf": common("?season_id={season_id}&team_id={team_id}"),
    "event_file": common(),
    "equipment_file": common(),
    "new_season": common(),
    "edit_season": common(),
    "new_school": common(),
    "edit_school": shown(),
    "new_team": shown("?organisation_id={organisation_id}"),
    "edit_team": shown(),
    "new_turbine": shown("?team_id={team_id}"),
    "edit_turbine": shown(),
    "new_rotor": common(),
    "edit_rotor": shown(),
    "new_build": shown("?turbine_id={turbine_id}"),
    "edit_build": shown(),
    "new_bench": shown("?organisation_id={organisation_id}"),
    "edit_bench": shown(),
    "new_session": shown("?bench_id={bench_id}"),
    "edit_session": shown(),
    "new_equipment": shown("?kind=fan&organisation_id={organisation_id}"),
    "edit_equipment": shown(),
    "new_event": common(),
    "edit_event": common(),
    "sign_out": Row(303, 303, 303, None, lambda s: {"where": "here"}),
    "enter_season": led(
        lambda s: {"name": "Autumn", "starts_on": "2026-09-01", "ends_on": "2026-12-01"}
    ),
    "put_right_season": led(lambda s: {"version": "1", "name": "Spring again"}),
    "enter_school": led(lambda s: {"name": "Rowan school", "sharing": "own", "wind_unit": "m_s"}),
    "put_right_school": sent(
        lambda s: {
            "version": "1",
            "name": "Another name",
            "sharing": "own",
            "wind_unit": "m_s",
        }
    ),
    "enter_team": sent(
        lambda s: {
            "organisation_id": s.organisation_id,
            "season_id": s.season_id,
            "name": "Another",
        }
    ),
    "put_right_team": sent(lambda s: {"version": "1", "name": "Renamed"}),
    "enter_turbine": sent(
        lambda s: {
            "team_id": s.team_id,
            "name": "Second",
            "rotor_diameter_cm": "45",
            "blade_count": "3",
        }
    ),
    "put_right_turbine": sent(lambda s: {"version": "1", "name": "Renamed"}),
    "enter_rotor": led(
        lambda s: {"name": "Rotor 2", "rotor_diameter_cm": "45", "blade_count": "3"}
    ),
    "put_right_rotor": led(lambda s: {"version": "1", "name": "Renamed"}),
    "enter_build": sent(
        lambda s: {"turbine_id": s.turbine_id, "rotor_diameter_cm": "50", "blade_count": "3"}
    ),
    "put_right_build": sent(
        lambda s: {"version": "1", "rotor_diameter_cm": "46", "blade_count": "3"}
    ),
    "enter_bench": sent(
        lambda s: {
            "organisation_id": s.organisation_id,
            "name": "Gym",
            "new_fan_tag": "Fan 2",
            "fan_setting": "1",
            "distance_cm": "90",
            "new_anemometer_tag": "Vane 2",
            "new_anemometer_type": "vane",
        }
    ),
    "put_right_bench": sent(
        lambda s: {
            "version": "1",
            "name": "Renamed",
            "fan_id": s.fan_id,
            "fan_setting": "2",
            "distance_cm": "90",
            "anemometer_id": s.anemometer_id,
        }
    ),
    "enter_session": sent(
        lambda s: {
            "bench_id": s.bench_id,
            "season_id": s.season_id,
            "started_at": "2026-03-12T14:30",
            "adult_present": "yes",
        }
    ),
    "put_right_session": sent(
        lambda s: {"version": "1", "adult_present": "yes", "air_temperature_c": "21,5"}
    ),
    "enter_equipment": sent(
        lambda s: {
            "kind": "fan",
            "organisation_id": s.organisation_id,
            "tag": "Fan 9",
            "condition": "good",
        }
    ),
    "put_right_equipment": sent(lambda s: {"version": "1", "tag": "Renamed", "condition": "worn"}),
    "enter_event": led(
        lambda s: {"season_id": s.season_id, "name": "Meeting", "held_on": "2026-05-16"}
    ),
    "put_right_event": led(
        lambda s: {"version": "1", "name": "Renamed", "held_on": "2026-05-17", "best_of": "1"}
    ),
    "enter_trial": sent(
        lambda s: {
            "session_id": s.session_id,
            "build_id": s.build_id,
            "kind": "record",
            "load_ohm": "30,1",
            "load_connected": "yes",
            "voltage_1": "1,2",
            "voltage_2": "1.19",
        }
    ),
    "correct": sent(
        lambda s: {
            "build_id": s.build_id,
            "kind": "record",
            "load_ohm": "22",
            "load_connected": "yes",
            "meter_range_v": "2",
            "voltage_1": "1.2",
            "voltage_2": "1.2",
            "voltage_3": "1.2",
            "reason": "misread",
        }
    ),
    # The world's trial counts, so that there is nothing to reinstate.
    "reinstate": Row(403, 422, 422, typed=lambda s: {"reason": "it was tight after all"}),
    "next_question": Row(303, 303, 303, None),
    "answer_all": Row(403, 422, 422, typed=lambda s: {}),
    "confirm": sent(lambda s: {"reason": "measured again"}),
    "withdraw": sent(lambda s: {"reason": "a blade was loose"}),
    "answer": sent(lambda s: {"answer": "confirm", "reason": "seen"}),
    "measure": sent(lambda s: {"point_0_m_s": "4,1", "point_1_m_s": "4.0"}),
    "lend": sent(
        lambda s: {
            "organisation_id": s.organisation_id,
            "lent_on": "2026-02-10",
            "due_on": "2026-06-01",
            "condition_out": "good",
        }
    ),
    "take_back": sent(lambda s: {"returned_on": "2026-05-20", "condition_in": "good"}),
    "check": sent(lambda s: {"checked_on": "2026-03-01", "reading_1": "4,1", "reference_1": "4.0"}),
    "draw": led(lambda s: {"seed": "3"}),
    "inspect": sent(
        lambda s: {"build_version": "1", "inspector": "steward", "outcome_hazards": "pass"}
    ),
    "import_sheet": Row(403, 200, 200, 422, lambda s: {"cells": "", "step": "look"}),
    "undo_import": sent(lambda s: {"reason": "the wrong file"}),
    "make_share": Row(403, 200, 200, 404, lambda s: {"team_id": s.team_id, "days": "30"}),
    "revoke_share": sent(lambda s: {}),
    "make_key": led(
        lambda s: {"label": "new", "role": "reader", "organisation_id": s.organisation_id}, 200
    ),
    "revoke_key": led(lambda s: {}),
    "key_email": Row(403, 403, 200, None),
    "change_key_email": led(lambda s: {"sign_in_email": "coach@school.example"}),
    "drop_webhook": led(lambda s: {}),
}
