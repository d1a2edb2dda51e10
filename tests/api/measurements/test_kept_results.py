"""What is kept of results tells what is computed, and nothing that is not so any more."""

import hashlib

import pytest
from sqlmodel import col, delete, func, select, update

from analysis.trials.results import FORMULA
from api.models.measurements.results import CachedResult
from api.services.measurements import rechecks, results
from tests.support.answers import everything, forget
from tests.support.makers import World, created, trial_payload
from tests.support.sheets import send, sheet, three_runs

pytestmark = pytest.mark.on_both

#: What numbers are kept, in which order: who changes it raises `FORMULA` and writes both down here.
ORDERS = {1: "a209", 2: "a209", 3: "a209"}


def kept(database, trial_id):
    with database.reading() as db:
        return db.scalar(
            select(func.count())
            .select_from(CachedResult)
            .where(col(CachedResult.trial_id) == trial_id)
        )


@pytest.fixture
def database(world: World):
    return world.lead.app.state.database


@pytest.fixture
def several(world: World) -> World:
    """A wind sweep, an open circuit and a trial out of range beside what there is."""
    coach = world.larch.coach
    for speed, volts in ((3.3, 0.95), (4.0, 1.2), (4.8, 1.5)):
        runs = [{"voltage_v": volts}, {"voltage_v": volts * 1.01}]
        asked = trial_payload(world.larch, kind="wind", wind_speed_m_s=speed, runs=runs)
        created(coach.post("/v1/trials", json=asked))
    unloaded = trial_payload(world.larch, kind="open_circuit", load_ohm=None, load_connected=None)
    created(coach.post("/v1/trials", json=unloaded))
    created(coach.post("/v1/trials", json=trial_payload(world.larch, wind_speed_m_s=9.0)))
    return world


def listed(world: World):
    return world.lead.get("/v1/trials?limit=100").json()["items"]


def test_cached_results_equal_computed_ones(several: World, database):
    warm, answers = listed(several), everything(several)
    with database.unit_of_work() as db:
        taken = db.execute(delete(CachedResult)).rowcount
    assert taken == len(warm)
    forget(several.lead)
    assert listed(several) == warm
    assert everything(several) == answers
    with database.unit_of_work() as db:
        rechecks.recheck_season(db, several.season_id)
    assert kept(database, several.larch.trial_id) == 1


def test_what_another_formula_found_is_not_looked_at(several: World, database):
    warm, answers = listed(several), everything(several)
    nonsense = b"\x00" * 8 * len(results.PACKED)
    with database.unit_of_work() as db:
        db.execute(update(CachedResult).values(formula=FORMULA - 1, numbers=nonsense, reason="no"))
    forget(several.lead)
    assert listed(several) == warm
    assert everything(several) == answers
    with database.unit_of_work() as db:
        rechecks.recheck_season(db, several.season_id)
    with database.reading() as db:
        assert set(db.scalars(select(CachedResult.formula))) == {FORMULA}


def test_a_withdrawn_trial_shows_its_result_and_nothing_of_it_is_kept(world: World, database):
    trial = world.larch.coach.get(f"/v1/trials/{world.larch.trial_id}").json()
    assert kept(database, trial["id"]) == 1
    taken = world.larch.coach.post(f"/v1/trials/{trial['id']}/withdraw", json={"reason": "wrong"})
    assert taken.json()["result"] == trial["result"]
    assert kept(database, trial["id"]) == 0


def test_what_is_taken_back_leaves_nothing_kept(world: World, database):
    stored = send(world.larch.coach, sheet(*three_runs("back"))).json()
    (trial,) = world.larch.coach.get("/v1/trials?client_ref=back").json()["items"]
    assert kept(database, trial["id"]) == 1
    undone = world.larch.coach.post(f"/v1/imports/{stored['id']}/undo", json={"reason": "twice"})
    assert undone.status_code == 200, undone.text
    assert kept(database, trial["id"]) == 0


def test_the_order_of_what_is_kept_is_the_formulas():
    body = hashlib.sha256(" ".join(results.PACKED).encode()).hexdigest()[:4]
    assert ORDERS[FORMULA] == body
