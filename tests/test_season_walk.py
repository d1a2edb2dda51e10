"""Go the complete way on real parts: a server, scripts as programs, numbers worked by hand.

A coach types a semicolon file with decimal commas, mph and inches; wrong rows are named; corrected,
each trial is stored once; the report shows what a pocket calculator shows.
"""

import json
import threading
import time

import pytest
from client import Gustbook

from tests.support.service import Service

HEADER = (
    "School;Team;Turbine;Build;Bench;Session started at;Kind;client_ref;Load (ohm);"
    "Load connected;Voltage (V);Wind speed (mph);Rotor diameter (in);Meter range (V);"
    "Temperature (°F);Pressure (hPa);Humidity (%);Warm up (min);Adult present"
)
CONDITIONS = "9,4;18;2,0;71,6;950;45;6;yes"


def row(day, build, ref, volts, load="30,1"):
    return (
        f"Tarnwick;Larch;Larch one;{build};Hall fan;2026-03-{day} 14:30;record;{ref};{load};yes;"
        f"{volts};{CONDITIONS}"
    )


RIGHT = [
    row("05", 1, "a", "1,20"), row("05", 1, "a", "1,19"), row("05", 1, "a", "1,21"),
    row("12", 2, "b", "1,50"), row("12", 2, "b", "1,49"), row("12", 2, "b", "1,51"),
]  # fmt: skip
WRONG = [
    *RIGHT[:3],
    row("12", 2, "b", "1,5O"),
    row("12", 2, "b", "1490"),
    row("12", 2, "b", "1,51"),
]


def worked_by_hand(volts):
    """Return normalised power: geometric mean of V²/R at 9.4 mph, 22 °C, 950 hPa, 45 %."""
    power = (volts[0] * volts[1] * volts[2]) ** (2 / 3) / 30.1
    wind = 9.4 * 0.44704
    density = 1.1160  # mixture of two ideal gases; the IEC form gives up to 0.02 % more
    return power * (4 / wind) ** 2.6 * (1.225 / density) ** 0.5


@pytest.fixture
def service(tmp_path):
    running = Service(tmp_path)
    yield running
    running.kill()


@pytest.fixture
def coach_key(service):
    """Register a school as an operator and a lead would; return a coach's key."""
    process = service.run("-m", "api", "key", "create", "--role", "lead", "--label", "Lead")
    assert process.returncode == 0, process.stderr
    with service.client(process.stdout.strip()) as lead:

        def add(path, **facts):
            answer = lead.post(path, json=facts)
            assert answer.status_code == 201, answer.text
            return answer.json()

        season = add("/v1/seasons", name="Spring", starts_on="2026-02-02", ends_on="2026-05-29")
        school = add("/v1/organisations", name="Tarnwick", altitude_m=540)["id"]
        fan = add("/v1/equipment", organisation_id=school, kind="fan", tag="F")["id"]
        vane = add("/v1/equipment", organisation_id=school, kind="anemometer", tag="W",
                   spec={"type": "vane"})["id"]  # fmt: skip
        add("/v1/benches", organisation_id=school, name="Hall fan", fan_id=fan, fan_setting="2",
            distance_m=0.9, anemometer_id=vane)  # fmt: skip
        team = add("/v1/teams", organisation_id=school, season_id=season["id"], name="Larch")["id"]
        turbine = add("/v1/turbines", team_id=team, name="Larch one")["id"]
        for _ in range(2):
            add("/v1/builds", turbine_id=turbine, rotor_diameter_in=18, blade_count=3)
        key: str = add("/v1/keys", label="Coach", role="coach", organisation_ids=[school])["key"]
    return key


def test_from_a_typed_file_to_the_season_report(service, coach_key, tmp_path):
    path = tmp_path / "march.csv"
    path.write_text("\n".join([HEADER, *WRONG]) + "\n", encoding="utf-8")

    refused = service.run("scripts/submit_trials.py", str(path), key=coach_key)
    assert refused.returncode == 1, refused.stderr
    assert "row 5, column Voltage (V): '1,5O' is not a number. Was 1,50 meant" in refused.stdout
    assert "row 6, column Voltage (V): '1490' must be between -60 and 60 V" in refused.stdout
    assert "1490 mV = 1.49 V" in refused.stdout
    with service.client(coach_key) as coach:
        assert coach.get("/v1/trials").json()["items"] == []
        assert coach.get("/v1/sessions").json()["items"] == []

    path.write_text("\n".join([HEADER, *RIGHT]) + "\n", encoding="utf-8")
    for expected in ("2 new, 0 unchanged", "0 new, 2 unchanged"):
        stored = service.run("scripts/submit_trials.py", str(path), key=coach_key)
        assert stored.returncode == 0, stored.stdout + stored.stderr
        assert f"stored: {expected}, 0 refused trials" in stored.stdout
    with service.client(coach_key) as coach:
        assert len(coach.get("/v1/trials").json()["items"]) == 2

    reported = service.run("scripts/season_report.py", "--format", "json", key=coach_key)
    (team,) = json.loads(reported.stdout)["organisations"][0]["teams"]
    first, second = worked_by_hand((1.20, 1.19, 1.21)), worked_by_hand((1.50, 1.49, 1.51))
    assert team["first"]["normalised_power_w"] == pytest.approx(first, rel=3e-4)
    assert team["current"]["normalised_power_w"] == pytest.approx(second, rel=3e-4)
    assert team["change"]["change_pct"] == pytest.approx(100 * (second / first - 1), rel=1e-3)
    assert (team["sessions"], team["trials"]) == (2, 2)
    text = service.run("scripts/season_report.py", "--team", "larch", key=coach_key).stdout
    assert f"{1000 * second:.1f} mW" in text


def test_a_connection_that_breaks_and_a_retry_store_each_trial_once(service, coach_key):
    """The server is killed while a file is on its way; the script tries again until it is back."""
    rows = [row("05", 1, f"t{i}", "1,20") for i in range(600)]
    content = ("\n".join([HEADER, *rows]) + "\n").encode()
    with service.client(coach_key) as coach:
        outcome = {}

        def send():
            with Gustbook(service.url, coach_key) as gustbook:
                outcome["import"] = gustbook.submit_file(content)

        sender = threading.Thread(target=send)
        sender.start()
        time.sleep(0.25)
        service.kill()
        service.start()
        sender.join(timeout=60)
        assert outcome["import"]["trials"]["created"] == 600
        seen, path = [], "/v1/trials?limit=200"
        while path:
            answer = coach.get(path)
            seen += [trial["client_ref"] for trial in answer.json()["items"]]
            path = answer.links.get("next", {}).get("url")
    assert sorted(seen) == sorted(f"t{i}" for i in range(600))
