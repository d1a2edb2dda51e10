"""All columns of the results, read back by pandas and polars: types, values, what is missing.

The expected values come from the trials and things of the API, not from the code of the results.
"""

import csv
import io
import re
from datetime import UTC, datetime

import pandas as pd
import polars as pl
import pyarrow.parquet as pq
import pytest

from api.services.reporting.results.columns import COLUMNS
from tests.support.makers import World, created, trial_payload

MOMENTS = ["session_started_at", "created_at", "updated_at"]
READERS = {
    ("csv", "pandas"): lambda file: pd.read_csv(file, parse_dates=MOMENTS),
    ("csv", "polars"): lambda file: pl.read_csv(file, try_parse_dates=True),
    # Without this, pandas turns a column of yes, no and missing cells of a workbook into numbers.
    ("xlsx", "pandas"): lambda file: pd.read_excel(file, dtype_backend="numpy_nullable"),
    ("xlsx", "polars"): lambda file: pl.read_excel(file, engine="openpyxl"),
    ("parquet", "pandas"): pd.read_parquet,
    ("parquet", "polars"): pl.read_parquet,
}
TYPES = {"text": str, "number": (int, float), "whole": (int, float), "yes": bool,
         "moment": datetime}  # fmt: skip
POLARS_TYPES = {"text": pl.String, "number": pl.Float64, "whole": pl.Int64, "yes": pl.Boolean,
                "moment": pl.Datetime("ms", "UTC")}  # fmt: skip
PANDAS_TYPES = {"text": "str", "number": "float64", "whole": "int64",
                "moment": "datetime64[ms, UTC]"}  # fmt: skip
LEFT_OUT = {"first": None, "open": "other_kind", "turned": "other_kind", "gone": "withdrawn",
            "odd": "held", "reference": "other_kind"}  # fmt: skip


@pytest.fixture
def tested(world: World):
    """Give trials with a missing load, current, rotor speed, team or result, held and withdrawn."""
    larch = world.larch
    full = {"voltage_v": 1.2, "current_a": 0.039, "rotor_speed_rpm": 812.5, "wind_speed_m_s": 4.1,
            "duration_s": 30.0}  # fmt: skip
    for ref, changed in {
        "open": {"kind": "open_circuit", "load_ohm": None, "load_connected": None,
                 "meter_range_v": None, "runs": [{"voltage_v": 1.9}]},
        "turned": {"kind": "pitch", "pitch_deg": 9.0, "runs": [full, {"voltage_v": 1.19}]},
        "gone": {},
        "odd": {"wind_speed_m_s": 9.4},
        "reference": {"kind": "reference", "build_id": world.reference_build_id},
    }.items():  # fmt: skip
        sent = trial_payload(larch, client_ref=ref, **changed)
        stored = created(world.lead.post("/v1/trials", json=sent))
        if ref == "gone":
            path = f"/v1/trials/{stored['id']}/withdraw"
            assert larch.coach.post(path, json={"reason": "another load"}).status_code == 200
            reply = {"answer": "confirm", "reason": "looked at"}
            for flag in stored["flags"]:
                larch.coach.post(f"/v1/flags/{flag['id']}/answer", json=reply)
    return world


def things(client):
    """Return all things that a client may see, by their ids."""
    kinds = ("seasons", "organisations", "teams", "turbines", "builds", "benches", "sessions")
    lists = [client.get(f"/v1/{kind}?limit=200").json()["items"] for kind in kinds]
    return {each["id"]: each for items in lists for each in items}


def expected_rows(client, rows):
    """Return what the table must hold, from the API's trials, sessions and names."""
    known = things(client)
    trials = client.get("/v1/trials?limit=200").json()["items"]
    table = [(trial, expected(trial, known)) for trial in trials]
    if rows == "trials":
        return [row for _, row in table]
    return [row | expected_run(run) for trial, row in table for run in trial["runs"]]


def expected(trial, known):
    session, build = known[trial["session_id"]], known[trial["build_id"]]
    turbine, bench = known[build["turbine_id"]], known[session["bench_id"]]
    team, result = known.get(turbine["team_id"], {}), trial["result"]
    low_w, high_w = result["interval_w"] or (None, None)
    open_rules = {flag["rule"] for flag in trial["flags"] if flag["state"] == "open"}
    row = {column.name: None for column in COLUMNS["trials"]}
    for facts in (session, trial, result):
        row |= {name: facts[name] for name in row if name in facts}
    return row | {
        "trial_id": trial["id"],
        "season": known[trial["season_id"]]["name"],
        "organisation": known[trial["organisation_id"]]["name"],
        "team_id": team.get("id"),
        "team": team.get("name"),
        "turbine_id": turbine["id"],
        "turbine": turbine["name"],
        "build": build["number"],
        "bench_id": bench["id"],
        "bench": bench["name"],
        "session_started_at": moment(session["started_at"]),
        "created_at": moment(trial["created_at"]),
        "updated_at": moment(trial["updated_at"]),
        "left_out": LEFT_OUT[trial["client_ref"]],
        "interval_low_w": low_w,
        "interval_high_w": high_w,
        "open_flags": " ".join(sorted(open_rules)) or None,
    }


def expected_run(run):
    names = ("voltage_v", "current_a", "rotor_speed_rpm", "wind_speed_m_s", "duration_s")
    return {"run": run["number"]} | {f"run_{name}": run[name] for name in names}


def moment(text):
    return datetime.fromisoformat(text)


def asked(client, **query):
    answer = client.get("/v1/results", params=query)
    assert answer.status_code == 200, answer.text
    return answer.content


def values_of(frame, name):
    """Return a column as plain values; what is missing is None."""
    values = frame[name].to_list()
    return [None if value is not None and pd.isna(value) else value for value in values]


@pytest.mark.parametrize("rows", ["trials", "runs"])
def test_every_column_has_its_type_and_the_values_of_the_api(rows, tested: World):
    wanted = expected_rows(tested.lead, rows)
    assert len(wanted) > 6
    for (kind, library), read in READERS.items():
        frame = read(io.BytesIO(asked(tested.lead, format=kind, rows=rows)))
        assert list(frame.columns) == [column.name for column in COLUMNS[rows]]
        for column in COLUMNS[rows]:
            values, expected = values_of(frame, column.name), [row[column.name] for row in wanted]
            where = f"{column.name} of {kind} in {library}"
            assert all(is_of(column.kind, value) for value in values), where
            if column.kind == "number":
                expected = [each and pytest.approx(each, rel=1e-15, abs=0) for each in expected]
            if column.kind == "moment":
                values = [at_second(value, is_naive=kind == "xlsx") for value in values]
                expected = [at_second(value) for value in expected]
            assert values == expected, where


def is_of(kind, value):
    """Tell whether a value has the kind of a column, or is missing; a boolean is no number."""
    is_yes = isinstance(value, bool)
    return value is None or (isinstance(value, TYPES[kind]) and is_yes == (kind == "yes"))


def at_second(value, is_naive=False):
    """Return a moment as the tables have it; a workbook cannot hold a zone, and is in UTC."""
    assert (value.tzinfo is None) == is_naive
    aware = value.replace(tzinfo=UTC) if is_naive else value
    return aware.astimezone(UTC).replace(microsecond=0)


def test_what_is_compared_has_something_missing_in_many_columns(tested: World):
    wanted = expected_rows(tested.lead, "runs")
    mixed = {
        name for name in wanted[0] if 0 < sum(row[name] is None for row in wanted) < len(wanted)
    }
    assert mixed >= {
        "team", "team_id", "left_out", "pitch_deg", "load_ohm", "load_connected", "meter_range_v",
        "power_w", "normalised_power_w", "interval_low_w", "u_total", "run_current_a",
        "run_rotor_speed_rpm", "run_wind_speed_m_s", "open_flags",
    }  # fmt: skip


class TestParquet:
    def test_a_column_has_its_type_even_if_all_of_it_is_missing(self, tested: World):
        query = {"format": "parquet", "rows": "runs", "kind": "open_circuit"}
        content = asked(tested.lead, **query)
        polars_frame = pl.read_parquet(io.BytesIO(content))
        frame = pd.read_parquet(io.BytesIO(content))
        assert polars_frame["load_ohm"].null_count() == len(polars_frame) == 1
        for column in COLUMNS["runs"]:
            assert polars_frame[column.name].dtype == POLARS_TYPES[column.kind], column.name
            if column.kind != "yes":  # numpy has no missing boolean
                assert frame[column.name].dtype == PANDAS_TYPES[column.kind], column.name

    def test_texts_that_look_like_something_else_stay_as_they_are(self, world: World):
        for ref in ("007", "NA", "1e5", "TRUE", "2026-03-05"):
            created(world.lead.post("/v1/trials", json=trial_payload(world.larch, client_ref=ref)))
        content = asked(world.lead, format="parquet", team_id=world.larch.team_id)
        refs = ["first", "007", "NA", "1e5", "TRUE", "2026-03-05"]
        assert values_of(pd.read_parquet(io.BytesIO(content)), "client_ref") == refs
        assert pl.read_parquet(io.BytesIO(content))["client_ref"].to_list() == refs

    def test_units_are_where_pandas_and_other_programs_look_for_them(self, world: World):
        content = asked(world.lead, format="parquet")
        units = {column.name: column.unit for column in COLUMNS["trials"] if column.unit}
        assert units["pressure_hpa"] == "hPa"
        assert pd.read_parquet(io.BytesIO(content)).attrs["units"] == units
        schema = pq.read_schema(io.BytesIO(content))
        for name, unit in units.items():
            assert schema.field(name).metadata[b"unit"].decode() == unit


class TestCsv:
    def test_cells_are_of_the_forms_that_r_converts_by_itself(self, tested: World):
        """R's `type.convert`: capital TRUE and FALSE, decimal points, empty cells for NA."""
        number = r"-?\d+(\.\d+)?(e-?\d+)?"
        forms = {"number": number, "whole": r"-?\d+", "yes": "TRUE|FALSE",
                 "moment": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", "text": ".+"}  # fmt: skip
        rows = list(csv.DictReader(io.StringIO(asked(tested.lead, rows="runs").decode())))
        for column in COLUMNS["runs"]:
            cells = [row[column.name] for row in rows]
            assert all(re.fullmatch(forms[column.kind], cell) for cell in cells if cell), cells
            assert not {"NA", "NaN", "nan", "None", "inf"} & set(cells)
