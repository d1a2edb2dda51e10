"""A season's trials as a file: safe in a spreadsheet, and unchanged if sent again."""

import csv
import io
from itertools import count
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.models.core.fields import FILLERS
from api.services.core.safe_cells import protect, unprotect
from tests.support.makers import World, build_payload, created, session_payload, trial_payload
from tests.support.sheets import send

TEXT = st.text(
    st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=12
) | st.sampled_from(["=1+1", "'=1", "-3", "@x", "a;b,c|d", 'say "hi"', "''", "example-1", "1,5"])


def exported(world: World, **asked: Any) -> str:
    answer = world.lead.get(f"/v1/seasons/{world.season_id}/trials.csv", params=asked)
    assert answer.status_code == 200, answer.text
    return answer.content.decode()


def cells(text: str, delimiter: str = ",") -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff")), delimiter=delimiter))


class TestRefused:
    def test_an_unknown_season(self, world: World):
        answer = world.lead.get("/v1/seasons/sea_0000000000000000000000000/trials.csv")
        assert answer.status_code == 404

    def test_a_question_that_is_not_known(self, world: World):
        path = f"/v1/seasons/{world.season_id}/trials.csv"
        assert world.lead.get(path, params={"delimter": "comma"}).status_code == 422


class TestTheFile:
    def test_a_row_for_each_run_with_its_numbers(self, world: World):
        rows = [row for row in cells(exported(world)) if row["team"] == "Larch one"]
        assert [row["voltage_v"] for row in rows] == ["1.2", "1.2", "1.2"]
        assert [row["run"] for row in rows] == ["1", "2", "3"]
        assert rows[0]["session_started_at"] == "2026-03-05T14:30:00Z"
        assert rows[0]["trial_id"] == world.larch.trial_id

    def test_only_the_callers_schools(self, world: World):
        answer = world.larch.coach.get(f"/v1/seasons/{world.season_id}/trials.csv")
        assert {row["organisation"] for row in cells(answer.text)} == {"Larch school"}

    def test_semicolons_and_decimal_commas(self, world: World):
        text = exported(world, delimiter="semicolon", decimal="comma", excel=True)
        assert text.startswith("\ufeff")
        assert cells(text, ";")[0]["voltage_v"] == "1,2"

    def test_a_withdrawn_trial_is_not_in_it(self, world: World):
        path = f"/v1/trials/{world.larch.trial_id}/withdraw"
        world.larch.coach.post(path, json={"reason": "wrong turbine"})
        assert "Larch one" not in exported(world)

    def test_a_formula_in_a_note_is_only_text(self, world: World):
        trial = trial_payload(world.larch, client_ref="=2+3", note='=HYPERLINK("http://x")')
        created(world.larch.coach.post("/v1/trials", json=trial))
        row = cells(exported(world))[-3]
        assert (row["client_ref"], row["note"]) == ("'=2+3", '\'=HYPERLINK("http://x")')

    @given(TEXT)
    def test_protected_text_comes_back(self, text):
        assert unprotect(protect(text)) == text
        assert not protect(text).startswith(("=", "+", "-", "@"))


class TestSentAgain:
    @pytest.mark.parametrize("form", [{}, {"delimiter": "semicolon", "decimal": "comma"}])
    def test_the_world_is_unchanged(self, form, world: World):
        sent = send(world.lead, exported(world, **form), season_id=world.season_id)
        assert sent.status_code == 201, sent.text
        assert sent.json()["trials"] == {"created": 0, "unchanged": 2, "error": 0}
        assert sent.json()["sessions_created"] == 0

    def test_a_wrong_value_in_it_is_refused_as_another_trial(self, world: World):
        text = exported(world).replace(",1.2,", ",1.3,", 1)
        sent = send(world.lead, text, season_id=world.season_id)
        assert sent.status_code == 422
        assert sent.json()["errors"][0]["code"] == "client_ref_taken"

    def test_a_visit_to_a_hall_with_the_name_of_ones_own(self, world: World):
        renamed = world.lead.get(f"/v1/benches/{world.birch.bench_id}")
        world.lead.patch(
            f"/v1/benches/{world.birch.bench_id}",
            json={"name": "Larch hall"},
            headers={"If-Match": renamed.headers["etag"]},
        )
        visit = trial_payload(world.larch, session_id=world.birch.session_id, kind="visit")
        created(world.lead.post("/v1/trials", json=visit))
        text = exported(world)
        assert cells(text)[-1]["bench_organisation"] == "Birch school"
        sent = send(world.lead, text, season_id=world.season_id)
        assert sent.json()["trials"] == {"created": 0, "unchanged": 3, "error": 0}, sent.text


def number(low: float, high: float) -> Any:
    return st.floats(low, high, allow_nan=False).map(lambda value: value + 0.0)


def maybe(strategy: Any) -> Any:
    return st.none() | strategy


READING = st.fixed_dictionaries({"voltage_v": number(0.01, 1.9)}) | st.fixed_dictionaries(
    {
        "series_voltage_v": st.lists(number(0.0, 1.9), min_size=2, max_size=8),
        "sample_rate_hz": number(0.5, 50),
    }
)
RUN = st.builds(
    lambda reading, rest: reading | rest,
    READING,
    st.fixed_dictionaries(
        {
            "current_a": maybe(number(0.0001, 0.5)),
            "rotor_speed_rpm": maybe(number(50, 3000)),
            "wind_speed_m_s": maybe(number(1.0, 12.0)),
            "duration_s": maybe(number(5, 300)),
        }
    ),
)
TRIAL = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["record", "pitch", "load", "wind"]),
        "client_ref": maybe(TEXT.filter(str.strip)),
        "note": maybe(TEXT),
        "pitch_deg": maybe(number(-10, 60)),
        "pitch_after_deg": maybe(number(-10, 60)),
        "blade_pitches_deg": maybe(st.lists(number(-10, 60), min_size=1, max_size=4)),
        "load_ohm": number(1, 1000),
        "wind_speed_m_s": maybe(number(1.0, 12.0)),
        "rotor_diameter_m": maybe(number(0.2, 0.9)),
        "runs": st.lists(RUN, min_size=1, max_size=3),
    }
)
SESSION = st.fixed_dictionaries(
    {
        "air_temperature_c": maybe(number(5, 40)),
        "pressure_hpa": maybe(number(870, 1080)),
        "relative_humidity_pct": maybe(number(0, 100)),
        "warm_up_min": maybe(number(0, 60)),
    }
)
#: A name holds nothing that nobody sees.
NAME = st.text(
    st.characters(exclude_categories=("Cs", "Cc", "Cf", "Cn"), exclude_characters=FILLERS),
    min_size=1, max_size=12,
).filter(str.strip)  # fmt: skip
SEASON = st.tuples(NAME, SESSION, st.lists(TRIAL, min_size=1, max_size=3))


class TestAnySeason:
    @settings(
        max_examples=settings.default.max_examples // 6,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture],
    )
    @given(season=SEASON)
    def test_is_unchanged(self, season, world: World):
        name, session, trials = season
        client, school, turn = world.lead, world.larch, next(TURNS)
        facts = {"name": f"Season {turn}", "starts_on": "2026-02-02", "ends_on": "2026-05-29"}
        season_id = created(client.post("/v1/seasons", json=facts))["id"]
        team = {"organisation_id": school.organisation_id, "season_id": season_id, "name": name}
        team_id = created(client.post("/v1/teams", json=team))["id"]
        turbine = {"team_id": team_id, "name": name}
        turbine_id = created(client.post("/v1/turbines", json=turbine))["id"]
        build_id = created(client.post("/v1/builds", json=build_payload(turbine_id)))["id"]
        sat = session_payload(school, season_id=season_id, **session)
        session_id = created(client.post("/v1/sessions", json=sat))["id"]
        place = {"session_id": session_id, "build_id": build_id, "load_connected": True}
        batch = {"trials": [trial | place for trial in trials]}
        stored = client.post("/v1/imports", params={"mode": "partial"}, json=batch)
        new_trials = stored.json()["trials"]["created"]
        text = client.get(f"/v1/seasons/{season_id}/trials.csv").content.decode()
        if not new_trials:
            assert not cells(text)
            return
        again = send(client, text, season_id=season_id)
        assert again.status_code == 201, again.text
        assert again.json()["trials"] == {"created": 0, "unchanged": new_trials, "error": 0}


TURNS = count(1)
