"""A build's own wind exponent: fitted to its sweep and used for its trials, or why not."""

import math

import pytest
from sqlalchemy import delete
from sqlmodel import Session, select

from analysis.exponent import shrink
from api.models.measurements.sweeps import WindSweep
from api.services.measurements import rechecks
from tests.support.makers import World, created, trial_payload

OWN = 2.2
RECORD_W = 1.2**2 / 30.1


def run(school, volts, **changed):
    runs = [{"voltage_v": volts * factor} for factor in (0.999, 1.001)]
    return created(
        school.coach.post("/v1/trials", json=trial_payload(school, runs=runs, **changed))
    )


def sweep(school, exponent=OWN, speeds=(3.2, 4.0, 4.9)):
    """Sweep the wind of a build whose power is an exact power of it."""
    for speed in speeds:
        volts = math.sqrt(0.045 * (speed / 4) ** exponent * 30.1)
        run(school, volts, kind="wind", wind_speed_m_s=speed)


def result(school, trial_id=None):
    answer = school.coach.get(f"/v1/trials/{trial_id or school.trial_id}")
    return answer.json()["result"]


def progress(school):
    return school.coach.get(f"/v1/teams/{school.team_id}/progress").json()


class TestNotUsed:
    def test_two_speeds_are_no_sweep(self, world: World):
        sweep(world.larch, speeds=(3.2, 4.9))
        assert result(world.larch)["wind_exponent_source"] == "default"
        (wind,) = progress(world.larch)["wind"]
        assert (wind["status"], wind["exponent"]) == ("open", None)
        assert wind["reason"] == "need 3 different wind speeds, got 2"
        assert "Until then 2.6 (± 0.4) is used" in wind["sentence"]

    def test_nor_what_does_not_reach_the_reference(self, world: World):
        sweep(world.larch, speeds=(4.4, 5.0, 6.0))
        assert result(world.larch)["wind_exponent_source"] == "default"
        (wind,) = progress(world.larch)["wind"]
        assert "does not reach the season's reference wind" in wind["reason"]

    def test_another_teams_build_keeps_its_default(self, world: World):
        sweep(world.larch)
        assert result(world.birch)["wind_exponent_source"] == "default"


class TestUsed:
    def test_in_the_trials_own_result(self, world: World):
        """4.2 m/s: by the own exponent drawn towards 2.6, m from it or the default."""
        before = result(world.larch)
        sweep(world.larch)
        after = result(world.larch)
        own = shrink(OWN, 0.0)
        assert after["wind_exponent_source"] == "own"
        assert after["wind_exponent"] == pytest.approx(own.exponent, abs=0.02)
        assert after["normalised_power_w"] > before["normalised_power_w"]
        by_hand = (
            RECORD_W
            * (4 / 4.2) ** after["wind_exponent"]
            * (1.225 / after["air_density_kg_m3"]) ** after["density_exponent"]
        )
        assert after["normalised_power_w"] == pytest.approx(by_hand, rel=1e-4)
        assert after["u_own"] < before["u_own"]

    def test_in_progress_comparison_and_report_alike(self, world: World):
        sweep(world.larch)
        shown = progress(world.larch)
        (build,) = shown["builds"]
        assert build["wind_exponent_source"] == "own"
        assert build["normalised_power_w"] == pytest.approx(
            result(world.larch)["normalised_power_w"]
        )
        (wind,) = shown["wind"]
        assert wind["status"] == "own"
        assert wind["fitted_exponent"] == pytest.approx(OWN, abs=0.01)
        assert wind["exponent"] == pytest.approx(build["wind_exponent"])
        assert wind["u_exponent"] == pytest.approx(build["wind_exponent_u"])
        report = world.larch.coach.get(f"/v1/seasons/{world.season_id}/report").json()
        team = report["organisations"][0]["teams"][0]
        assert team["current"]["normalised_power_w"] == pytest.approx(build["normalised_power_w"])

    def test_a_wind_within_the_sweep_is_direct(self, world: World):
        far = run(world.larch, 1.5, wind_speed_m_s=4.7)
        assert far["result"]["normalisation"] == "provisional"
        sweep(world.larch)
        assert result(world.larch, far["id"])["normalisation"] == "direct"

    def test_a_bent_curve_is_reported(self, world: World):
        for speed in (3.2, 3.6, 4.0, 4.5, 4.9):
            x = math.log(speed / 4)
            power = 0.045 * math.exp(2.5 * x + 4.0 * x**2)
            run(world.larch, math.sqrt(power * 30.1), kind="wind", wind_speed_m_s=speed)
        (wind,) = progress(world.larch)["wind"]
        assert wind["status"] == "bent"
        assert abs(wind["curvature_t"]) > 2
        assert wind["fitted_exponent"] == pytest.approx(2.5, abs=0.05)
        assert "does not follow the wind by one exponent" in wind["sentence"]

    def test_facts_that_move_the_sweep_move_what_rests_on_it(self, world: World):
        """A build measured wider in a tunnel of 1 m²: blockage from 5 % on speeds up the wind."""
        sweep(world.larch)
        before = progress(world.larch)["wind"][0]
        patched = world.larch.coach.patch(
            f"/v1/benches/{world.larch.bench_id}",
            json={"tunnel_area_m2": 1.0}, headers={"If-Match": '"v1"'},
        )  # fmt: skip
        assert patched.status_code == 200, patched.text
        after = progress(world.larch)["wind"][0]
        assert after["covers_m_s"][0] > before["covers_m_s"][0]


def test_dropped_caches_are_found_again(world: World, app_client):
    database = app_client.app.state.database
    sweep(world.larch)
    before = result(world.larch), progress(world.larch)["builds"]
    with database.unit_of_work() as db:
        db.execute(delete(WindSweep))
        assert kept(db) == 0
        rechecks.recheck_season(db, world.season_id)
        assert kept(db) == 1
    assert (result(world.larch), progress(world.larch)["builds"]) == before


def kept(db: Session) -> int:
    return len(db.execute(select(WindSweep)).all())
