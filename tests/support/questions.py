"""Make trials that the data checks ask about."""

from tests.support.makers import created, session_payload, trial_payload


def held(world, session_id=None, volts=(1.3, 1.29, 1.31), **changed):
    """Store a trial whose wind was typed in miles an hour."""
    runs = [{"voltage_v": each, "wind_speed_m_s": 9.4} for each in volts]
    facts = {"runs": runs, **({"session_id": session_id} if session_id else {}), **changed}
    return created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, **facts)))


def session(world, day):
    payload = session_payload(world.larch, started_at=f"2026-04-{day:02d}T10:00:00Z")
    return created(world.larch.coach.post("/v1/sessions", json=payload))["id"]


def state(world, trial):
    return world.larch.coach.get(f"/v1/trials/{trial['id']}").json()["state"]
