"""A trial beside the one before it: better, worse, or within the usual wobble."""

import pytest

from tests.support.makers import World, created, session_payload, trial_payload


def page_of(world, visiting, **changed):
    trial = created(
        world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, **changed))
    )
    return visiting(world.larch.coach_key).get(f"/trials/{trial['id']}").text


def runs(*volts):
    return {"runs": [{"voltage_v": each} for each in volts]}


class TestNothingToCompare:
    def test_the_first_trial_of_a_turbine(self, world: World, visiting):
        page = visiting(world.larch.coach_key).get(f"/trials/{world.larch.trial_id}").text
        assert "the trial before" not in page

    def test_a_sweep(self, world: World, visiting):
        page = page_of(world, visiting, kind="pitch", pitch_deg=9.0, **runs(1.21, 1.22))
        assert "the trial before" not in page

    def test_another_bench(self, world: World, visiting):
        facts = {"organisation_id": world.larch.organisation_id, "name": "Yard", "fan_setting": "2",
                 "fan_id": world.larch.fan_id, "distance_m": 1.0,
                 "anemometer_id": world.larch.anemometer_id}  # fmt: skip
        bench = created(world.larch.coach.post("/v1/benches", json=facts))
        session = session_payload(world.larch, bench_id=bench["id"])
        stored = created(world.larch.coach.post("/v1/sessions", json=session))
        page = page_of(world, visiting, session_id=stored["id"], **runs(1.21, 1.22))
        assert "the trial before" not in page


@pytest.mark.parametrize(
    ("volts", "says"),
    [
        # 1.2 V before; power goes with the square: (1.35 / 1.2)^2 = 1.266, (1.05 / 1.2)^2 = 0.766
        ((1.35, 1.351), "+27 % against the trial before: better"),
        ((1.05, 1.051), "-23 % against the trial before: worse"),
        # (1.21 / 1.2)^2 = 1.017: less than two trials of one session differ by themselves
        ((1.21, 1.211), "+2 % against the trial before: within the usual wobble"),
    ],
)
def test_a_second_trial_of_a_session(world: World, visiting, volts, says):
    assert says in page_of(world, visiting, **runs(*volts)).replace("&#39;", "'")
