"""Make plausible things through the public API; a test sets only the fields that it is about."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from fastapi.testclient import TestClient

Signed = Callable[[str], TestClient]


def created(answer: Any) -> dict[str, Any]:
    """Return the body of a successful POST."""
    assert answer.status_code == 201, answer.text
    body: dict[str, Any] = answer.json()
    return body


def season_payload(**changed: Any) -> dict[str, Any]:
    return {"name": "Spring 2026", "starts_on": "2026-02-02", "ends_on": "2026-05-29"} | changed


def build_payload(turbine_id: str, **changed: Any) -> dict[str, Any]:
    return {"turbine_id": turbine_id, "rotor_diameter_m": 0.45, "blade_count": 3} | changed


def session_payload(school: "School", **changed: Any) -> dict[str, Any]:
    """Return the session of the worked example: 22 °C, 950 hPa, 45 %, 4.2 m/s."""
    return {
        "bench_id": school.bench_id,
        "season_id": school.season_id,
        "started_at": "2026-03-05T14:30:00Z",
        "air_temperature_c": 22.0,
        "pressure_hpa": 950.0,
        "relative_humidity_pct": 45.0,
        "wind_speed_start_m_s": 4.2,
        "warm_up_min": 6.0,
        "adult_present": True,
    } | changed


def trial_payload(school: "School", **changed: Any) -> dict[str, Any]:
    return {
        "session_id": school.session_id,
        "build_id": school.build_id,
        "kind": "record",
        "load_ohm": 30.1,
        "load_connected": True,
        "meter_range_v": 2.0,
        "runs": [{"voltage_v": 1.2}, {"voltage_v": 1.2}, {"voltage_v": 1.2}],
    } | changed


def rule_set(*checks: dict[str, Any]) -> dict[str, Any]:
    """Return rules with a limit, a rotor no wider than 60 cm ± 2 mm, and an inspection."""
    size = {"id": "rotor_size", "words": "Rotor no wider than 60 cm", "kind": "limit",
            "field": "build.rotor_diameter_m", "op": "<=", "value": 60, "unit": "cm",
            "tolerance": 0.2}  # fmt: skip
    hazards = {"id": "hazards", "words": "Nothing that can cut", "kind": "inspection",
               "items": ["no metal blades"], "touches": ["build.material"]}  # fmt: skip
    return {"name": "Meeting rules", "version": 1, "checks": list(checks) or [size, hazards]}


def bench_payload(school: "School", **changed: Any) -> dict[str, Any]:
    return {
        "organisation_id": school.organisation_id,
        "name": "Gym",
        "fan_id": school.fan_id,
        "fan_setting": "1",
        "distance_m": 0.9,
        "anemometer_id": school.anemometer_id,
    } | changed


def webhook_payload(organisation_id: str | None, port: int = 9, **changed: Any) -> dict[str, Any]:
    """Return a webhook on this machine; nothing listens on port 9."""
    return {
        "organisation_id": organisation_id,
        "url": f"http://127.0.0.1:{port}/hook",
        "kinds": ["event.result", "import.stored", "trial.needs_answer"],
    } | changed


def loan_payload(school: "School", **changed: Any) -> dict[str, Any]:
    return {
        "organisation_id": school.organisation_id,
        "lent_on": "2026-02-10",
        "due_on": "2026-06-01",
        "spares_out": 2,
    } | changed


@dataclass(frozen=True)
class School:
    """Ids of one school's things, and the clients that may see them."""

    organisation_id: str
    season_id: str
    team_id: str
    fan_id: str
    anemometer_id: str
    meter_id: str
    generator_id: str
    load_id: str
    turbine_id: str
    build_id: str
    bench_id: str
    session_id: str = ""
    trial_id: str = ""
    key_id: str = ""
    import_id: str = ""
    event_id: str = ""
    flag_id: str = ""
    kit_id: str = ""
    loan_id: str = ""
    webhook_id: str = ""
    coach_key: str = ""
    reader_key: str = ""
    coach: TestClient | None = None
    reader: TestClient | None = None


@dataclass(frozen=True)
class World:
    """A season with two schools that share nothing, and the programme's reference rotor."""

    season_id: str
    lead_key: str
    larch: School
    birch: School
    reference_turbine_id: str
    reference_build_id: str
    lead: TestClient | None = None

    def signed_in(self, signed: Signed) -> "World":
        """Return the same world with clients of one application."""
        schools = {
            name: replace(school, coach=signed(school.coach_key), reader=signed(school.reader_key))
            for name, school in (("larch", self.larch), ("birch", self.birch))
        }
        return replace(self, lead=signed(self.lead_key), **schools)


def make_world(lead_key: str, signed: Signed) -> World:
    """Register two schools with one trial each."""
    lead = signed(lead_key)
    season_id = created(lead.post("/v1/seasons", json=season_payload()))["id"]
    rotor = created(lead.post("/v1/turbines", json={"team_id": None, "name": "Reference rotor 1"}))
    build = created(lead.post("/v1/builds", json=build_payload(rotor["id"], assigned_power_w=0.06)))
    meeting = {"season_id": season_id, "name": "Spring meeting", "held_on": "2026-05-16"}
    event = created(lead.post("/v1/events", json=meeting | {"rule_set": rule_set()}))
    event_id = event["id"]
    larch, birch = (make_school(lead, signed, season_id, name) for name in ("Larch", "Birch"))
    created(lead.post(f"/v1/events/{event_id}/run-order", json={"seed": 1}))
    return World(
        season_id,
        lead_key,
        replace(larch, event_id=event_id),
        replace(birch, event_id=event_id),
        rotor["id"],
        build["id"],
    )


def with_webhooks(world: World, signed: Signed) -> World:
    """Give each school a webhook; the service must allow them to call port 9 of this machine."""

    def add(school: School) -> School:
        asked = webhook_payload(school.organisation_id, kinds=["event.result"])
        made = created(signed(school.coach_key).post("/v1/webhooks", json=asked))
        return replace(school, webhook_id=made["id"])

    return replace(world, larch=add(world.larch), birch=add(world.birch))


def make_school(lead: TestClient, signed: Signed, season_id: str, name: str) -> School:
    """Register a school with its equipment, a team, a turbine, a build, a bench and a trial."""
    organisation = created(
        lead.post("/v1/organisations", json={"name": f"{name} school", "altitude_m": 540})
    )["id"]

    def key(role: str) -> dict[str, Any]:
        asked = {"label": f"{name} {role}", "role": role, "organisation_ids": [organisation]}
        return created(lead.post("/v1/keys", json=asked))

    coach_key, reader_key = key("coach"), key("reader")
    coach = signed(coach_key["key"])

    def add(path: str, **facts: Any) -> str:
        thing_id: str = created(coach.post(path, json=facts))["id"]
        return thing_id

    def equip(kind: str, **spec: Any) -> str:
        return add(
            "/v1/equipment",
            organisation_id=organisation,
            kind=kind,
            tag=f"{name}-{kind}",
            spec=spec,
        )

    fan, vane = equip("fan", diameter_m=0.5), equip("anemometer", type="vane")
    team = add("/v1/teams", organisation_id=organisation, season_id=season_id, name=f"{name} one")
    turbine = add("/v1/turbines", team_id=team, name="Whirl")
    bench = add(
        "/v1/benches",
        organisation_id=organisation,
        name=f"{name} hall",
        fan_id=fan,
        fan_setting="2",
        distance_m=0.9,
        anemometer_id=vane,
    )
    school = School(
        organisation_id=organisation,
        season_id=season_id,
        team_id=team,
        fan_id=fan,
        anemometer_id=vane,
        meter_id=equip("meter", counts=1999, percent=0.5, digits=2),
        generator_id=equip("generator", emf_constant_v_s_rad=0.03, winding_resistance_ohm=8.0),
        load_id=equip("load", nominal_ohm=30, tolerance_pct=5, rated_power_w=1),
        turbine_id=turbine,
        build_id=add("/v1/builds", **build_payload(turbine)),
        bench_id=bench,
        coach_key=coach_key["key"],
        reader_key=reader_key["key"],
        key_id=coach_key["id"],
    )
    session = add("/v1/sessions", **session_payload(school, meter_id=school.meter_id))
    school = replace(school, session_id=session)
    batch = {"trials": [trial_payload(school, client_ref="first")]}
    imported = created(coach.post("/v1/imports", json=batch))
    # The bench of the worked example has no wind grid, which raises one flag for its session.
    flag = coach.get("/v1/flags", params={"rule": "single_wind_point"}).json()["items"][0]
    kit = equip("other")
    lent = add(f"/v1/equipment/{kit}/loans", **loan_payload(school))
    return replace(
        school,
        kit_id=kit,
        loan_id=lent,
        trial_id=imported["rows"][0]["id"],
        import_id=imported["id"],
        flag_id=flag["id"],
    )
