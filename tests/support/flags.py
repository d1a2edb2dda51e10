"""Submit trials that raise flags, and answer the flags."""

from tests.support.makers import created, session_payload, trial_payload


def run(school, volts=(1.2, 1.19, 1.21), **changed):
    runs = [{"voltage_v": volt} for volt in volts]
    return created(
        school.coach.post("/v1/trials", json=trial_payload(school, runs=runs, **changed))
    )


def flag_of(trial, rule):
    (flag,) = [flag for flag in trial["flags"] if flag["rule"] == rule]
    return flag


def again(school, trial):
    return school.coach.get(f"/v1/trials/{trial['id']}").json()


def answer(client, flag, **body):
    return client.post(f"/v1/flags/{flag['id']}/answer", json=body)


def counted(world):
    report = world.larch.coach.get(f"/v1/seasons/{world.season_id}/report").json()
    return report["trials"]


def new_session(school, **changed):
    asked = session_payload(school, meter_id=school.meter_id, **changed)
    return created(school.coach.post("/v1/sessions", json=asked))
