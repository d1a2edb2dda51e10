"""Typed text stays text, on each page that shows it and in each form that returns it."""

from html import escape

import pytest

from tests.support.makers import created, loan_payload, rule_set, trial_payload
from tests.support.page_routes import ROUTES
from tests.support.page_table import TABLE

SCRIPT = "<script>alert(1)</script>"
#: Breaks out of text, of an attribute in either quote, of a comment, and of a template.
HOSTILE = SCRIPT + "\"'><img src=x onerror=alert(2)>{{7*7}}"
SHORT = HOSTILE[:60]


def put(client, path, body):
    tag = {"If-Match": client.get(path).headers["etag"]}
    answer = client.patch(path, json=body, headers=tag)
    assert answer.status_code == 200, answer.text


@pytest.fixture
def named(world):
    """Give every text of one school a hostile name; return the ids of its things."""
    lead, school = world.lead, world.larch
    put(lead, f"/v1/seasons/{world.season_id}", {"name": HOSTILE})
    put(lead, f"/v1/organisations/{school.organisation_id}", {"name": HOSTILE, "sharing": "named"})
    put(lead, f"/v1/teams/{school.team_id}",
        {"name": HOSTILE, "entry_class": HOSTILE, "age_band": HOSTILE})  # fmt: skip
    for item in (school.fan_id, school.anemometer_id, school.kit_id):
        put(lead, f"/v1/equipment/{item}", {"tag": HOSTILE[:76] + item[-4:], "note": HOSTILE})
    put(lead, f"/v1/turbines/{school.turbine_id}", {"name": HOSTILE})
    texts = {"changed_factor": HOSTILE, "material": HOSTILE, "note": HOSTILE}
    put(lead, f"/v1/builds/{school.build_id}", texts)
    put(lead, f"/v1/benches/{school.bench_id}", {"name": HOSTILE, "note": HOSTILE})
    put(lead, f"/v1/sessions/{school.session_id}", {"note": HOSTILE})
    look = {"id": "look", "words": HOSTILE, "kind": "inspection", "items": [HOSTILE]}
    rules = rule_set(look) | {"name": HOSTILE}
    put(lead, f"/v1/events/{school.event_id}",
        {"name": HOSTILE, "place": HOSTILE, "note": HOSTILE, "rule_set": rules})  # fmt: skip
    coach = school.coach
    trial = created(coach.post("/v1/trials", json=trial_payload(
        school, client_ref=SHORT, note=HOSTILE, runs=[{"voltage_v": 1.2}, {"voltage_v": 1.9}]
    )))  # fmt: skip
    fix = {"reason": HOSTILE, "changes": {"load_ohm": 31.0}}
    created(coach.post(f"/v1/trials/{trial['id']}/corrections", json=fix))
    held = next(flag for flag in trial["flags"] if flag["severity"] == "hold")
    answer = {"answer": "confirm", "reason": HOSTILE}
    assert coach.post(f"/v1/flags/{held['id']}/answer", json=answer).status_code == 200
    coach.post(f"/v1/equipment/{school.kit_id}/loans/{school.loan_id}/return",
               json={"returned_on": "2026-05-20", "note": HOSTILE})  # fmt: skip
    lent = loan_payload(school, signed_by=HOSTILE, note=HOSTILE)
    created(coach.post(f"/v1/equipment/{school.kit_id}/loans", json=lent))
    build = lead.get(f"/v1/builds/{school.build_id}").json()
    seen = {"check": "look", "outcome": "fail", "evidence": HOSTILE}
    created(coach.post(f"/v1/events/{school.event_id}/inspections", json={
        "build_id": school.build_id, "build_version": build["version"], "inspector": HOSTILE,
        "findings": [seen]}))  # fmt: skip
    created(lead.post("/v1/keys", json={"label": HOSTILE, "role": "lead"}))
    ids = {name: each for name, each in school.__dict__.items() if isinstance(each, str)}
    return ids | {
        "trial_id": trial["id"], "flag_id": held["id"], "school_id": school.organisation_id,
        "session_id": school.session_id, "rotor_id": school.turbine_id,
        "equipment_id": school.kit_id, "ending": "csv", "position": "1",
    }  # fmt: skip


def assert_text(page, where):
    """Refuse a page in which a hostile text became anything else."""
    for begun in ("<script>alert", "<img src=x", "'><img", "onerror=alert(2)>", "alert(2)&gt;49"):
        assert begun not in page, (where, begun)


#: Addresses of files, which are no pages.
FILES = (".csv", ".pdf", ".xlsx", "{ending}", "{container}")


@pytest.mark.parametrize("who", ["lead_key", "coach_key"])
def test_it_stays_text_on_every_page(who, world, named, visiting):
    key = world.lead_key if who == "lead_key" else world.larch.coach_key
    browser = visiting(key)
    shows = 0
    for name, (method, path) in ROUTES.items():
        if (
            method == "GET"
            and name in TABLE
            and TABLE[name].lead != 404
            and not path.endswith(FILES)
        ):
            page = browser.get((path + TABLE[name].query).format(**named))
            assert page.status_code in (200, 303, 403), (name, page.text)
            assert_text(page.text, name)
            shows += escape(SCRIPT) in page.text
    assert shows > 20


def test_it_stays_text_on_a_shared_page(world, named, visiting):
    coach = visiting(world.larch.coach_key)
    for asked in ({"team_id": world.larch.team_id}, {"season_id": world.season_id}):
        page = coach.post("/shares", data=asked | {"days": "2"}).text
        assert_text(page, "shares")
        link = page[page.index("/shared/") :].split('"')[0]
        shown = visiting("").get(link)
        assert escape(SCRIPT) in shown.text
        assert_text(shown.text, "shared")


@pytest.mark.parametrize("name", [name for name, row in TABLE.items() if row.typed])
def test_a_form_gives_it_back_as_text(name, world, visiting):
    """Every field of every form, the hidden ones too, filled with it."""
    browser = visiting(world.lead_key)
    school = world.larch
    ids = {each: value for each, value in school.__dict__.items() if isinstance(value, str)}
    ids |= {
        "school_id": school.organisation_id, "session_id": school.session_id,
        "rotor_id": school.turbine_id, "equipment_id": school.kit_id, "share_id": "shr_x",
        "position": "1",
    }  # fmt: skip
    typed = TABLE[name].typed(school)
    unchanged = ("organisation_id", "team_id", "turbine_id", "bench_id", "season_id", "kind")
    fields = {each: value if each in unchanged else HOSTILE for each, value in typed.items()}
    answer = browser.post(ROUTES[name][1].format(**ids), data=fields | {"form_key": HOSTILE})
    assert answer.status_code < 500, answer.text
    assert_text(answer.text, name)


@pytest.mark.parametrize(
    "address",
    ["/sign-in?next={}", "/questions?cursor={}", "/trials/new?pitch_deg={}", "/teams/{}",
     "/shared/{}", "/equipment/new?kind={}", "/reference/{}", "/assets/{}", "/imports/{}"],
)  # fmt: skip
def test_an_address_stays_text(address, world, visiting):
    page = visiting(world.lead_key).get(address.format(HOSTILE.replace("#", "")))
    assert page.status_code in (200, 404, 422)
    assert_text(page.text, address)


@pytest.mark.parametrize("number", ["9" * 5000, "-1", "1e9", "٣", "", "NaN"])
def test_a_hidden_number_that_is_none_is_refused_and_no_fault(number, world, visiting):
    browser, school = visiting(world.larch.coach_key), world.larch
    form = {"name": "Renamed", "version": number}
    assert browser.post(f"/teams/{school.team_id}/edit", data=form).status_code == 422
    seen = {"build_version": number, "inspector": "x", "outcome_hazards": "pass"}
    place = f"/events/{school.event_id}/builds/{school.build_id}"
    assert browser.post(place, data=seen).status_code == 422
    cells = {"cells": "team,voltage_v\nx,1\n", "step": "look", f"correct:{number}:team": "y"}
    assert browser.post("/imports", data=cells).status_code == 422
    assert browser.get(f"{place}/runs/{number}").status_code in (403, 404, 422)


def test_cells_of_a_sheet_stay_text(world, visiting):
    browser = visiting(world.larch.coach_key)
    head = "team,build,bench,session_started_at,client_ref,load_ohm,load_connected,voltage_v\n"
    quoted = '"' + HOSTILE.replace('"', '""') + '"'
    sheet = head + ",".join([quoted] * 8) + "\n"
    for cells in (sheet, head.replace("team", HOSTILE), "</textarea>" + HOSTILE):
        page = browser.post("/imports", data={"cells": cells, "step": "look"})
        assert page.status_code == 422
        assert_text(page.text, cells)
        assert page.text.count("</textarea>") == 1
