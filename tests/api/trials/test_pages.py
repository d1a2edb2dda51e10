"""A page of trials has the same text as each of them read alone, whatever they hold."""

import json

import pytest

from api.deps.reading import Reading
from tests.support.makers import created, trial_payload

MANY_KINDS = (
    {"client_ref": "plain"},
    {"note": "Loose “hub”, tightened – then 2 °C colder", "client_ref": "=note"},
    {"runs": [{"voltage_mv": 1200, "wind_speed_mph": 9.2}, {"voltage_v": 1.19}]},
    {
        "kind": "open_circuit",
        "load_ohm": None,
        "load_connected": None,
        "runs": [{"voltage_v": 1.9}],
    },
    {"blade_pitches_deg": [12, 12.5, 11.5], "pitch_deg": 12, "pitch_after_deg": 12.5},
    {"runs": [{"voltage_v": 1.2}, {"voltage_v": 0.12}, {"voltage_v": 1.2}], "pitch_deg": 3},
    {"runs": [{"series_voltage_v": [1.2, 1.21, 1.19, 1.2] * 20, "sample_rate_hz": 2}]},
    {"wind_speed_m_s": 5.5, "load_kohm": 0.047, "load_ohm": ...},
)


def without_dots(fields):
    return {name: value for name, value in fields.items() if value is not ...}


@pytest.fixture
def trials(world):
    larch = world.larch
    sent = [without_dots(trial_payload(larch, **changed)) for changed in MANY_KINDS]
    ids = [created(larch.coach.post("/v1/trials", json=each))["id"] for each in sent]
    withdrawn = {"reason": "the belt slipped"}
    larch.coach.post(f"/v1/trials/{ids[0]}/withdraw", json=withdrawn).raise_for_status()
    return [larch.trial_id, *ids]


@pytest.mark.on_both
def test_a_page_and_each_trial_of_it_are_the_same_text(world, trials):
    coach = world.larch.coach
    page = coach.get("/v1/trials?limit=200")
    each = [coach.get(f"/v1/trials/{trial_id}").text for trial_id in trials]
    assert page.text == f'{{"items":[{",".join(each)}],"next":null}}'


def test_some_of_them_have_what_could_differ(world, trials):
    items = world.larch.coach.get("/v1/trials").json()["items"]
    assert [each["id"] for each in items] == trials
    assert [bool(each["flags"]) for each in items].count(True) >= 2
    assert items[3]["runs"][0]["as_typed"]["voltage_v"]["value"] == 1200
    assert len(items[7]["runs"][0]["series_voltage_v"]) == 80
    assert items[1]["state"] == "withdrawn"
    assert json.dumps(items[4]["result"]["power_w"]) == "null"


def test_pages_of_one_trial_each_list_the_same(world, trials):
    coach, cursor, seen = world.larch.coach, "", []
    while cursor is not None:
        page = coach.get(f"/v1/trials?limit=1{cursor and f'&cursor={cursor}'}").json()
        seen += page["items"]
        cursor = page["next"]
    assert seen == coach.get("/v1/trials").json()["items"]


def test_a_page_that_is_not_found_quickly_is_read_again_by_a_thread(world, trials, monkeypatch):
    coach, in_thread, page = world.larch.coach, [], Reading.page
    quickly = coach.get("/v1/trials")

    def noting(reading, verb, query):
        in_thread.append(query.limit)
        return page(reading, verb, query)

    monkeypatch.setattr(Reading, "page", noting)
    assert coach.get("/v1/trials").content == quickly.content
    assert in_thread == []
    monkeypatch.setattr("api.deps.reading.QUICK_STEPS", 0)
    monkeypatch.setattr("api.embedded.STEPS_BETWEEN_LOOKS", 1)
    assert coach.get("/v1/trials").content == quickly.content
    assert in_thread == [50]
    assert coach.get(f"/v1/trials/{trials[0]}").status_code == 200  # its key is still found
