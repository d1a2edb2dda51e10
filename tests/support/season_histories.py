"""Draw the writes of a season, as coaches of two schools and a lead do them."""

import random

from tests.support.makers import World, bench_payload, created, session_payload, trial_payload


class History:
    """Writes at random, as coaches of two schools and a lead do them in a season."""

    def __init__(self, world: World, seed: int) -> None:
        self.world, self.draw = world, random.Random(seed)
        self.trials = [(school, school.trial_id) for school in (world.larch, world.birch)]
        self.sessions = {
            school.organisation_id: [school.session_id] for school in (world.larch, world.birch)
        }

    def write(self):
        """Do one write; some are refused, which is no change."""
        writes = (self.submit, self.submit, self.rotor, self.correct, self.move, self.withdraw,
                  self.reinstate, self.confirm, self.answer, self.bring_in, self.open_session,
                  self.altitude)  # fmt: skip
        self.draw.choice(writes)()

    def school(self):
        return self.draw.choice((self.world.larch, self.world.birch))

    def trial_of(self, school, **changed):
        volts = round(self.draw.uniform(1.0, 1.4), 3)
        session_id = self.draw.choice(self.sessions[school.organisation_id])
        runs = [{"voltage_v": volts + at / 1000} for at in range(3)]
        return trial_payload(school, session_id=session_id, runs=runs, **changed)

    def submit(self, **changed):
        school = self.school()
        trial = created(school.coach.post("/v1/trials", json=self.trial_of(school, **changed)))
        self.trials.append((school, trial["id"]))

    def rotor(self):
        self.submit(kind="reference", build_id=self.world.reference_build_id)

    def at_one(self, action, **body):
        school, trial_id = self.draw.choice(self.trials)
        answer = school.coach.post(f"/v1/trials/{trial_id}/{action}", json=body)
        assert answer.status_code in (200, 201, 404, 409, 422), answer.text

    def correct(self):
        load = round(self.draw.uniform(20, 40), 1)
        self.at_one("corrections", reason="typed wrong", changes={"load_ohm": load})

    def move(self):
        school, trial_id = self.draw.choice(self.trials)
        to = self.draw.choice(self.sessions[school.organisation_id])
        body = {"reason": "wrong session", "changes": {"session_id": to}}
        school.coach.post(f"/v1/trials/{trial_id}/corrections", json=body)

    def withdraw(self):
        self.at_one("withdraw", reason="loose blade")

    def reinstate(self):
        self.at_one("reinstate", reason="tight again")

    def confirm(self):
        self.at_one("confirm", reason="seen twice")

    def answer(self):
        school = self.school()
        for flag in school.coach.get("/v1/flags?state=open").json()["items"][:1]:
            body = {"answer": "confirm", "reason": "as it is"}
            school.coach.post(f"/v1/flags/{flag['id']}/answer", json=body)

    def bring_in(self):
        school = self.school()
        trials = [self.trial_of(school, client_ref=f"im-{self.draw.random()}") for _ in range(3)]
        answer = school.coach.post("/v1/imports", json={"trials": trials})
        assert answer.status_code == 201, answer.text
        if "import_id" in answer.json() and self.draw.random() < 0.3:
            path = f"/v1/imports/{answer.json()['import_id']}/undo"
            assert school.coach.post(path, json={"reason": "twice"}).status_code == 200

    def open_session(self):
        school, day = self.school(), self.draw.randrange(6, 28)
        asked = session_payload(school, started_at=f"2026-03-{day:02}T1{day % 10}:00:00Z")
        if self.draw.random() < 0.5:
            name = f"Bench {self.draw.random()}"
            bench = created(school.coach.post("/v1/benches", json=bench_payload(school, name=name)))
            asked["bench_id"] = bench["id"]
        answer = school.coach.post("/v1/sessions", json=asked)
        if answer.status_code == 201:
            self.sessions[school.organisation_id].append(answer.json()["id"])

    def altitude(self):
        path = f"/v1/organisations/{self.school().organisation_id}"
        version = {"If-Match": self.world.lead.get(path).headers["etag"]}
        facts = {"altitude_m": self.draw.randrange(0, 900)}
        assert self.world.lead.patch(path, json=facts, headers=version).status_code == 200
