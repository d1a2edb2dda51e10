"""A trial that the rest of its season does not expect, though no data check holds it."""

from tests.support.makers import School, created, trial_payload


def submit_odd(school: School) -> dict:
    """Submit a trial with the volts of no load, after six ordinary ones; return it."""
    for at in range(6):
        runs = [{"voltage_v": 1.2 + 0.003 * at}] * 3
        created(school.coach.post("/v1/trials", json=trial_payload(school, runs=runs)))
    asked = trial_payload(school, runs=[{"voltage_v": 1.9}] * 3, pitch_deg=25.0)
    trial = created(school.coach.post("/v1/trials", json=asked))
    assert trial["state"] == "accepted", trial["flags"]
    return trial
