"""Every change of a fact changes every number at once: cached answers equal fresh ones."""

from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import delete, update

from api.models.measurements.flags import Flag
from api.models.measurements.results import CachedResult
from api.models.measurements.sweeps import WindSweep
from api.models.trials.trials import Trial
from api.services.access.keys import CONSOLE
from api.services.core import cache
from api.services.measurements import rechecks, season_trials
from api.services.operations.exports import season_digest
from tests.support.answers import everything, forget
from tests.support.makers import World, created, trial_payload


@pytest.fixture
def joined(world: World) -> World:
    """Both schools with the reference rotor, and a wind sweep at Larch."""
    for school in (world.larch, world.birch):
        rotor = trial_payload(school, kind="reference", build_id=world.reference_build_id)
        created(school.coach.post("/v1/trials", json=rotor))
        for volts in (1.3, 1.31):
            runs = [{"voltage_v": volts}] * 3
            created(school.coach.post("/v1/trials", json=trial_payload(school, runs=runs)))
    for speed, volts in ((3.3, 0.95), (4.0, 1.2), (4.8, 1.5)):
        runs = [{"voltage_v": volts}, {"voltage_v": volts * 1.01}]
        asked = trial_payload(world.larch, kind="wind", wind_speed_m_s=speed, runs=runs)
        created(world.larch.coach.post("/v1/trials", json=asked))
    return world


def change(world: World, path: str, facts: dict[str, Any]) -> None:
    tag = world.lead.get(path).headers["ETag"]
    answer = world.lead.patch(path, json=facts, headers={"If-Match": tag})
    assert answer.status_code == 200, answer.text


#: A fact, and the answers that must move with it.
FACTS = {
    "the session's wind": ("sessions/{session_id}", {"wind_speed_start_m_s": 4.3}, "all"),
    "its temperature": ("sessions/{session_id}", {"air_temperature_c": 30.0}, "all"),
    "its pressure": ("sessions/{session_id}", {"pressure_hpa": 850.0}, "all"),
    "the bench's tunnel": ("benches/{bench_id}", {"tunnel_area_m2": 0.9}, "all"),
    "the build's diameter": ("builds/{build_id}", {"rotor_diameter_m": 0.5}, ("trial",)),
    "the season's reference wind": (
        "seasons/{season_id}", {"reference_wind_speed_m_s": 4.1}, "all",
    ),
    "the event's wind": ("events/{event_id}", {"wind_speed_m_s": 4.6}, ("outlook",)),
}  # fmt: skip


@pytest.mark.parametrize("fact", FACTS)
def test_a_corrected_fact_moves_all_that_rests_on_it(fact: str, joined: World):
    path, facts, moved = FACTS[fact]
    before = everything(joined)
    ids = joined.larch.__dict__ | {"reference_build_id": joined.reference_build_id}
    change(joined, "/v1/" + path.format(**ids), facts)
    warm = everything(joined)
    forget(joined.lead)
    assert everything(joined) == warm
    for name in before if moved == "all" else moved:
        assert numbers(warm[name]) != numbers(before[name]), name


def numbers(answer: Any) -> list[float]:
    """Return the measured numbers of an answer, without counts and revisions."""
    if isinstance(answer, dict):
        values = (value for name, value in answer.items() if name not in ("revision", "version"))
        return [number for value in values for number in numbers(value)]
    if isinstance(answer, list):
        return [number for value in answer for number in numbers(value)]
    return [round(answer, 9)] if isinstance(answer, float) else []


@pytest.mark.parametrize(
    "more",
    [{}, {"kind": "visit"}, {"kind": "pitch", "pitch_deg": 9.0}],
    ids=["a trial", "a visit", "a sweep"],
)
def test_one_trial_more_is_in_every_answer(more: dict[str, Any], joined: World):
    before = everything(joined)
    runs = [{"voltage_v": 1.9}] * 3
    asked = trial_payload(joined.larch, runs=runs, **more)
    created(joined.larch.coach.post("/v1/trials", json=asked))
    warm = everything(joined)
    forget(joined.lead)
    assert everything(joined) == warm
    assert warm["report"]["trials_stored"] == before["report"]["trials_stored"] + 1
    assert warm["larch"] != before["larch"]


def moved(world: World, before: dict[str, Any]) -> dict[str, Any]:
    """Return the answers as they are now, warm, which are those of an emptied cache, and others."""
    warm = everything(world)
    forget(world.lead)
    assert everything(world) == warm
    for name in ("report", "comparison", "larch"):
        assert numbers(warm[name]) != numbers(before[name]), name
    return warm


@pytest.mark.on_both
def test_a_withdrawn_trial_leaves_every_answer(joined: World):
    trial = created(
        joined.larch.coach.post(
            "/v1/trials", json=trial_payload(joined.larch, runs=[{"voltage_v": 1.5}] * 3)
        )
    )
    before = everything(joined)
    path = f"/v1/trials/{trial['id']}/withdraw"
    assert joined.larch.coach.post(path, json={"reason": "the blade was loose"}).status_code == 200
    warm = moved(joined, before)
    assert warm["report"]["trials"] == before["report"]["trials"] - 1


def test_a_corrected_reading_moves_every_answer(joined: World):
    before = everything(joined)
    asked = {"reason": "misread", "changes": {"runs": [{"voltage_v": 1.31}]}}
    path = f"/v1/trials/{joined.larch.trial_id}/corrections"
    created(joined.larch.coach.post(path, json=asked))
    warm = moved(joined, before)
    assert numbers(warm["trial"]) != numbers(before["trial"])


@pytest.mark.on_both
@pytest.mark.parametrize("given", ["confirm", "withdraw_trial"])
def test_an_answered_question_moves_every_answer(given: str, joined: World):
    """A held trial counts nowhere; a confirmed one counts, a withdrawn one does not."""
    counted = everything(joined)
    runs = [{"voltage_v": 1.6}, {"voltage_v": 1.3}]
    asked = trial_payload(joined.larch, runs=runs, pitch_deg=21.0)
    trial = created(joined.larch.coach.post("/v1/trials", json=asked))
    assert trial["state"] == "held"
    held = everything(joined)
    assert held["report"]["trials"] == counted["report"]["trials"]
    for flag in trial["flags"]:
        if flag["severity"] == "hold":
            answer = joined.larch.coach.post(
                f"/v1/flags/{flag['id']}/answer", json={"answer": given, "reason": "seen"}
            )
            assert answer.status_code == 200, answer.text
    warm = everything(joined)
    forget(joined.lead)
    assert everything(joined) == warm
    more = 1 if given == "confirm" else 0
    assert warm["report"]["trials"] == counted["report"]["trials"] + more
    assert (numbers(warm["larch"]) != numbers(held["larch"])) == bool(more)


@pytest.mark.on_both
def test_a_rebuild_gives_equal_digests(joined: World, app_client: TestClient):
    """Flags, states and fitted sweeps thrown away and found again give the same season."""
    database = app_client.app.state.database

    def digest() -> str:
        forget(joined.lead)
        with database.reading() as db:
            return season_digest(db, CONSOLE, joined.season_id)

    runs = [{"voltage_v": 1.6}, {"voltage_v": 1.3}]
    held = trial_payload(joined.larch, runs=runs, pitch_deg=21.0)
    created(joined.larch.coach.post("/v1/trials", json=held))
    before = digest()
    with database.unit_of_work() as db:
        db.execute(delete(WindSweep))
        db.execute(delete(CachedResult))
        db.execute(delete(Flag))
        db.execute(update(Trial).values(state="accepted"))
    assert digest() != before
    with database.unit_of_work() as db:
        rechecks.recheck_season(db, joined.season_id)
    assert digest() == before


@pytest.mark.on_both
def test_a_season_read_by_parts_is_the_season(joined: World, monkeypatch: pytest.MonkeyPatch):
    before = everything(joined)
    forget(joined.lead)
    monkeypatch.setattr(season_trials, "AT_ONCE", 2)
    assert everything(joined) == before


def test_an_older_moment_is_answered_and_the_newer_one_kept():
    cached: cache.Cache[str] = cache.Cache(0, 2)
    assert cached.get_or_make("report", 2, lambda: "new") == "new"
    assert cached.get_or_make("report", 1, lambda: "old") == "old"
    assert cached.get_or_make("report", 2, lambda: "made again") == "new"
    assert cached.get_or_make("report", 3, lambda: "newer") == "newer"
    assert cached.get_or_make("report", 2, lambda: "made again") == "made again"
