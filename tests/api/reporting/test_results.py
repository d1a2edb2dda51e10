"""Results as tidy tables: which rows, by which filters, in which formats."""

import csv
import io
from datetime import UTC, datetime

import openpyxl
import pytest

from tests.support.makers import World, created, session_payload, trial_payload


def asked(client, **query):
    answer = client.get("/v1/results", params=query)
    assert answer.status_code == 200, answer.text
    return answer


def rows_of(client, **query):
    return list(csv.DictReader(io.StringIO(asked(client, **query).text)))


@pytest.fixture
def tested(world: World):
    """Give the world with a sweep, a withdrawn trial and one with a later session."""
    coach = world.larch.coach
    created(coach.post("/v1/trials", json=trial_payload(world.larch, kind="pitch", pitch_deg=9.0)))
    gone = created(coach.post("/v1/trials", json=trial_payload(world.larch, client_ref="gone")))
    coach.post(f"/v1/trials/{gone['id']}/withdraw", json={"reason": "another load"})
    later = session_payload(world.larch, started_at="2026-04-02T23:30:00Z")
    session = created(coach.post("/v1/sessions", json=later))["id"]
    created(coach.post("/v1/trials", json=trial_payload(world.larch, session_id=session)))
    return world


class TestRefused:
    @pytest.mark.parametrize(
        "query",
        [{"format": "html"}, {"rows": "teams"}, {"colour": "red"}, {"from_day": "5.3.26"},
         {"updated_since": "2026-03-05T10:00:00"}, {"team_id": "team_1"}],
    )  # fmt: skip
    def test_what_is_no_query_names_the_choices(self, query, world: World):
        answer = world.larch.coach.get("/v1/results", params=query)
        assert answer.status_code == 422
        if "format" in query:
            assert "parquet" in answer.text

    def test_without_a_key(self, app_client):
        assert app_client.get("/v1/results").status_code == 401

    def test_an_event_that_is_not_there(self, world: World):
        unknown = "evt_" + "0" * 26
        answer = world.larch.coach.get("/v1/results", params={"event_id": unknown})
        assert answer.status_code == 404


class TestRows:
    def test_figures_are_those_of_the_trials(self, tested: World):
        trials = tested.larch.coach.get("/v1/trials?limit=200").json()["items"]
        rows = rows_of(tested.larch.coach)
        assert [row["trial_id"] for row in rows] == [trial["id"] for trial in trials]
        for row, trial in zip(rows, trials, strict=True):
            result = trial["result"]
            assert float(row["power_w"]) == pytest.approx(result["power_w"], rel=1e-12)
            for name in ("normalised_power_w", "u_own", "u_total", "wind_speed_m_s"):
                assert float(row[name] or "nan") == pytest.approx(result[name], nan_ok=True)
            low, high = result["interval_w"]
            assert [float(row[f"interval_{end}_w"]) for end in ("low", "high")] == [low, high]
            assert (row["team"], row["bench"], row["build"]) == ("Larch one", "Larch hall", "1")

    def test_why_a_trial_does_not_count(self, tested: World):
        reasons = [(row["kind"], row["left_out"]) for row in rows_of(tested.larch.coach)]
        assert sorted(reasons) == [
            ("pitch", "other_kind"), ("record", ""), ("record", ""), ("record", "withdrawn"),
        ]  # fmt: skip

    def test_a_row_for_each_run(self, tested: World):
        trials = tested.larch.coach.get("/v1/trials?limit=200").json()["items"]
        rows = rows_of(tested.larch.coach, rows="runs")
        assert len(rows) == sum(len(trial["runs"]) for trial in trials)
        volts = [float(row["run_voltage_v"]) for row in rows]
        assert volts == [run["voltage_v"] for trial in trials for run in trial["runs"]]

    @pytest.mark.parametrize(
        ("query", "count"),
        [({"kind": "pitch"}, 1), ({"state": "withdrawn"}, 1), ({"kind": "record"}, 3),
         ({"from_day": "2026-04-01"}, 1), ({"to_day": "2026-03-31"}, 3),
         ({"from_day": "2026-04-03"}, 0), ({"updated_since": "2020-01-01T00:00:00Z"}, 4),
         ({"updated_since": "2099-01-01T00:00:00Z"}, 0)],
    )  # fmt: skip
    def test_filters(self, query, count, tested: World):
        assert len(rows_of(tested.larch.coach, **query)) == count

    def test_filters_by_things(self, tested: World):
        larch = tested.larch
        for name in ("team_id", "turbine_id", "build_id", "bench_id", "organisation_id"):
            assert len(rows_of(tested.lead, **{name: getattr(larch, name)})) == 4
        assert rows_of(tested.lead, event_id=larch.event_id) == []

    def test_the_official_runs_of_an_event(self, tested: World):
        day = session_payload(tested.larch, started_at="2026-05-16T10:00:00Z")
        session = created(tested.lead.post("/v1/sessions", json=day))["id"]
        read = {"load_ohm": 30.1, "load_connected": True, "runs": [{"voltage_v": 1.3}]}
        run = {"position": 1, "build_id": tested.larch.build_id, "trial": read}
        official = {"session_id": session, "runs": [run]}
        event_id = tested.larch.event_id
        tested.lead.post(f"/v1/events/{event_id}/results", json=official)
        (row,) = rows_of(tested.larch.coach, event_id=event_id, rows="runs")
        assert (row["kind"], float(row["run_voltage_v"])) == ("event", 1.3)

    def test_a_day_is_one_of_the_schools_clock(self, tested: World):
        """23:30 in UTC on 2 April is half past midnight of 3 April in summer time of Dublin."""
        season = tested.lead.get(f"/v1/seasons/{tested.season_id}")
        tested.lead.patch(
            f"/v1/seasons/{tested.season_id}", json={"timezone": "Europe/Dublin"},
            headers={"If-Match": season.headers["ETag"]},
        )  # fmt: skip
        assert len(rows_of(tested.larch.coach, from_day="2026-04-03", to_day="2026-04-03")) == 1

    def test_a_correction_is_an_update(self, tested: World):
        first, now = rows_of(tested.larch.coach)[0]["trial_id"], datetime.now(UTC).isoformat()
        fix = {"reason": "misread", "changes": {"load_ohm": 31.0}}
        tested.larch.coach.post(f"/v1/trials/{first}/corrections", json=fix)
        ids = {row["trial_id"] for row in rows_of(tested.larch.coach, updated_since=now)}
        assert first in ids

    def test_no_other_schools_trials(self, tested: World):
        owners = {row["organisation"] for row in rows_of(tested.birch.coach)}
        assert owners == {"Birch school"}
        assert len(rows_of(tested.lead)) == 5


class TestFormats:
    def test_a_workbook_has_a_sheet_that_explains_its_columns(self, tested: World):
        body = asked(tested.larch.coach, format="xlsx").content
        book = openpyxl.load_workbook(io.BytesIO(body))
        assert book.sheetnames == ["trials", "Columns"]
        titles = next(iter(book["trials"].values))
        explained = list(book["Columns"].values)
        assert explained[0] == ("name", "type", "unit", "meaning")
        assert tuple(row[0] for row in explained[1:]) == titles
        assert ("power_w", "number", "W", "power, geometric mean over the runs") in explained

    def test_a_formula_in_a_name_stays_a_text(self, world: World):
        team = world.larch.coach.get(f"/v1/teams/{world.larch.team_id}")
        world.larch.coach.patch(
            f"/v1/teams/{world.larch.team_id}", json={"name": "=1+1"},
            headers={"If-Match": team.headers["ETag"]},
        )  # fmt: skip
        assert rows_of(world.larch.coach)[0]["team"] == "'=1+1"
        body = asked(world.larch.coach, format="xlsx").content
        cells = {cell.data_type for row in openpyxl.load_workbook(io.BytesIO(body))["trials"]
                 for cell in row}  # fmt: skip
        assert "f" not in cells

    @pytest.mark.parametrize("kind", ["csv", "xlsx", "parquet"])
    def test_nothing_is_a_table_with_titles(self, kind, world: World):
        answer = asked(world.larch.coach, format=kind, kind="event")
        assert "attachment" in answer.headers["content-disposition"]
        assert answer.content
