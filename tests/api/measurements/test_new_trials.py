"""New trials that are checked without their complete bench are checked as with it."""

import pytest
from sqlmodel import Session

from analysis.checks import earlier_trials
from api.services.measurements import new_trials, older_trials
from tests.support.bench_histories import BenchHistory, checked_again, stored_checks
from tests.support.flags import flag_of, new_session, run
from tests.support.makers import World, build_payload, created, trial_payload

WRITES = 40


@pytest.fixture
def needed_few(monkeypatch):
    """Return the list of whether each check of new trials needed few older trials."""
    seen, check = [], new_trials.check

    def noting(db, new):
        owners = check(db, new)
        seen.append(owners is not None)
        return owners

    monkeypatch.setattr(new_trials, "check", noting)
    return seen


@pytest.fixture
def sizes(monkeypatch):
    """Return the list of how many trials each check of new trials reads."""
    seen, read = [], new_trials.read_checked_trials

    def noting(db, trial_ids):
        frame = read(db, trial_ids)
        seen.append(len(frame))
        return frame

    monkeypatch.setattr(new_trials, "read_checked_trials", noting)
    return seen


def build_of_another_turbine(school):
    turbine = {"team_id": school.team_id, "name": "Gale"}
    turbine_id = created(school.coach.post("/v1/turbines", json=turbine))["id"]
    return created(school.coach.post("/v1/builds", json=build_payload(turbine_id)))["id"]


def flagged(trial):
    return [flag["rule"] for flag in trial["flags"]]


class TestNeedsTheCompleteBench:
    @pytest.mark.parametrize("kind", ["reference", "wind"])
    def test_a_kind_that_judges_older_trials(self, kind, world: World, needed_few):
        build = world.reference_build_id if kind == "reference" else world.larch.build_id
        run(world.larch, kind=kind, build_id=build, wind_speed_m_s=4.4)
        assert needed_few == [False]

    def test_a_session_before_others(self, world: World, needed_few):
        early = new_session(world.larch, started_at="2026-02-20T09:00:00Z")
        run(world.larch, session_id=early["id"])
        assert needed_few == [False]

    def test_a_usual_value_that_was_confirmed(self, world: World, needed_few):
        school = world.larch
        run(school, pitch_deg=12.0)
        odd = run(school, (1.9, 1.9, 1.91), pitch_deg=12.0)
        flag = flag_of(odd, "voltage_unlike_before")
        body = {"answer": "confirm", "reason": "another blade"}
        assert school.coach.post(f"/v1/flags/{flag['id']}/answer", json=body).status_code == 200
        run(school, pitch_deg=12.0)
        assert needed_few == [True, True, False]

    def test_a_large_import(self, world: World, needed_few):
        trials = [trial_payload(world.larch, client_ref=f"large-{at}") for at in range(65)]
        created(world.larch.coach.post("/v1/imports", json={"trials": trials}))
        assert needed_few == []


class TestNeedsFewTrials:
    def test_reads_few_trials_however_many_there_are(self, world: World, needed_few, sizes):
        school = world.larch
        build = build_of_another_turbine(school)
        for _ in range(40):
            run(school, build_id=build)
        run(school)
        assert needed_few == [True] * 41
        assert sizes[-1] <= 2 + older_trials.LATEST_WINDS

    def test_a_sessions_note_is_found_once(self, world: World, needed_few):
        school = world.larch
        session = new_session(school, started_at="2026-03-12T10:00:00Z", note="by Anna Muster")
        build = build_of_another_turbine(school)
        found = [flagged(run(school, session_id=session["id"]))]
        for _ in range(older_trials.LATEST_WINDS + 3):
            found.append(flagged(run(school, session_id=session["id"], build_id=build)))
        assert ["personal_data" in rules for rules in found] == [True] + [False] * (len(found) - 1)
        assert all(needed_few)


@pytest.fixture
def long_builds(monkeypatch):
    """Let every build have too many trials to be read completely, and few of them be enough."""
    monkeypatch.setattr(older_trials, "MOST_OF_BUILDS", 0)
    monkeypatch.setattr(older_trials, "LATEST_OF_A_SETTING", 3)
    monkeypatch.setattr(older_trials, "OF_A_SETTING_READ", 8)
    monkeypatch.setattr(earlier_trials, "REMEMBERED", 3)


def require_same(world, app_client):
    """Require that what is stored of checks is what a check of all trials finds."""
    with Session(app_client.app.state.database.write_engine) as db:
        stored = stored_checks(db, world.season_id)
        again = checked_again(db, world.season_id)
    for name, rows in again.items():
        assert stored[name] == rows, name


@pytest.mark.usefixtures("long_builds")
class TestLongBuilds:
    """Only the latest trials of a build are read, and what each check needs of the older ones."""

    def test_what_is_found_once_a_build(self, world: World, needed_few, sizes):
        for at in range(12):
            run(world.larch, (1.2, 1.2, 1.201 + at / 1000))
        session = new_session(world.larch, started_at="2026-03-12T10:00:00Z")["id"]
        for at in range(3):
            latest = run(world.larch, (1.2, 1.2, 1.23 + at / 1000), session_id=session)
            assert "rotor_wider_than_jet" not in flagged(latest)  # the build's first trial has it
        assert all(needed_few)
        assert sizes[-1] < 15

    def test_an_exponent_that_is_not_known(self, world: World, needed_few):
        school = world.larch
        first = run(school, (1.2, 1.2, 1.2), wind_speed_m_s=4.6)
        for at in range(12):
            run(school, (1.2, 1.2, 1.201 + at / 1000), wind_speed_m_s=4.0)
        session = new_session(school, started_at="2026-03-12T10:00:00Z")["id"]
        latest = run(school, (1.21, 1.2, 1.2), wind_speed_m_s=4.6, session_id=session)
        assert "default_exponent" in flagged(first)
        assert "default_exponent" not in flagged(latest)
        assert all(needed_few)

    def test_a_duplicate_of_a_trial_that_is_not_among_the_latest(self, world: World, needed_few):
        volts = [(1.2, 1.2, 1.201 + at / 1000) for at in range(12)]
        found = [flagged(run(world.larch, each)) for each in (*volts, volts[0])]
        assert ["duplicate" in rules for rules in found] == [False] * 12 + [True]
        assert all(needed_few)

    def test_a_next_build_that_is_compared_with_this_one(self, world: World, app_client):
        school = world.larch
        for at in range(5):
            run(school, (1.2, 1.2, 1.2 + at / 1000))
        build = build_payload(school.turbine_id, pitch_deg=14.0)
        later = created(school.coach.post("/v1/builds", json=build))["id"]
        jumped = run(school, (1.53, 1.53, 1.53), build_id=later)
        assert "jump" in flagged(jumped)
        for at in range(6):
            run(school, (1.27, 1.27, 1.27 + at / 1000))
            require_same(world, app_client)
        kept = school.coach.get(f"/v1/trials/{jumped['id']}").json()
        assert "jump" not in flagged(kept)

    def test_a_pitch_sweep_that_goes_on(self, world: World, app_client):
        for at in range(12):
            volts = 1.1 + at / 100
            run(world.larch, (volts, volts, volts), kind="pitch", pitch_deg=8.0 + at)
            require_same(world, app_client)
            run(world.larch, (1.2, 1.2, 1.201 + at / 1000))


def require_checked_as_by_a_check_of_all(world, app_client, seed):
    history = BenchHistory(world, seed)
    for _ in range(WRITES):
        history.write()
        require_same(world, app_client)


@pytest.mark.parametrize("seed", range(3))
def test_any_history_is_checked_as_by_a_check_of_all(seed, world: World, app_client, needed_few):
    require_checked_as_by_a_check_of_all(world, app_client, seed)
    assert any(needed_few)


@pytest.mark.usefixtures("long_builds")
@pytest.mark.parametrize("seed", range(10, 13))
def test_any_history_of_long_builds(seed, world: World, app_client, needed_few):
    require_checked_as_by_a_check_of_all(world, app_client, seed)
    assert any(needed_few)
