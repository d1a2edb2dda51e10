"""Erasing removes all data of a school or season, and changes nothing else."""

import io
import json
import re
import zipfile

import pytest
import sqlalchemy as sa

from api.models.core.ids import new_id
from tests.support.makers import School, created, make_school, session_payload, trial_payload
from tests.support.stored import stored_rows

pytestmark = pytest.mark.on_both
SECRET_WORDS = "whispered"
AUTUMN = {"name": "Autumn", "starts_on": "2026-09-01", "ends_on": "2026-12-01"}


def traces(database_url, *words):
    """Return the places that still contain any of these words."""
    return {
        (name, word)
        for name, rows in stored_rows(database_url).items()
        for row in rows
        for word in words
        if word in json.dumps(row, default=str)
    }


def talk(world, school: School):
    """Let a school say things wherever words can be said."""
    coach, note = school.coach, f"{SECRET_WORDS} in Larch"
    odd = trial_payload(school, runs=[{"voltage_v": 1.2}, {"voltage_v": 0.9}], note=note)
    trial = created(coach.post("/v1/trials", json=odd, headers={"Idempotency-Key": "talk"}))
    (flag,) = [each for each in trial["flags"] if each["rule"] == "runs_disagree"]
    fields = {"answer": "confirm", "reason": note}
    assert coach.post(f"/v1/flags/{flag['id']}/answer", json=fields).is_success
    wrong = {"reason": note, "changes": {"load_ohm": 22.0}}
    assert coach.post(f"/v1/trials/{trial['id']}/corrections", json=wrong).is_success
    for kind, row_id in (("benches", school.bench_id), ("equipment", school.meter_id),
                         ("sessions", school.session_id), ("builds", school.build_id)):  # fmt: skip
        path = f"/v1/{kind}/{row_id}"
        tag = {"If-Match": coach.get(path).headers["etag"]}
        assert coach.patch(path, json={"note": note}, headers=tag).status_code == 200
    created(coach.post(f"/v1/equipment/{school.meter_id}/checks", json={
        "checked_on": "2026-03-01", "pairs": [{"reading": 4.1, "reference": 4.0}]}))  # fmt: skip
    created(coach.post(f"/v1/events/{school.event_id}/inspections", json={
        "build_id": school.build_id, "build_version": 2, "inspector": note,
        "findings": [{"check": "hazards", "outcome": "pass"}]}))  # fmt: skip
    created(world.lead.post(f"/v1/events/{school.event_id}/run-order", json={"seed": 3}))


def ids_of(school: School):
    return [value for name, value in vars(school).items()
            if isinstance(value, str) and re.fullmatch(r"[a-z]+_[0-9A-Z]{26}", value)
            and name not in ("season_id", "event_id")]  # fmt: skip


class TestRefused:
    def test_what_is_not_there(self, run, world):
        for kind, prefix in (("season", "sea"), ("organisation", "org")):
            gone = run("purge", f"--{kind}", new_id(prefix), "--yes")
            assert gone.exit_code == 2
            assert f"no {kind} {prefix}_" in gone.stderr

    def test_the_record_gives_up_nothing_without_an_erasure(self, database_url, world):
        engine = sa.create_engine(database_url, poolclass=sa.pool.NullPool)
        for attempt in (
            "DELETE FROM audit_entry",
            "UPDATE audit_entry SET reason = 'another'",
            "UPDATE audit_entry SET changes = NULL, reason = NULL, key_label = '', "
            "erasure_id = 'ers_of_nobody'",
        ):
            with engine.connect() as connection, pytest.raises(sa.exc.DBAPIError, match="never"):
                connection.execute(sa.text(attempt))


class TestADryRun:
    @pytest.mark.parametrize("what", ["season", "organisation"])
    def test_tells_what_would_go_and_changes_nothing(self, what, run, database_url, world):
        before = stored_rows(database_url)
        erased = world.season_id if what == "season" else world.larch.organisation_id
        done = run("purge", f"--{what}", erased)
        assert done.exit_code == 0, done.output
        assert "trial" in done.stdout
        assert "nothing was changed" in done.stderr
        assert stored_rows(database_url) == before


class TestASeason:
    def test_nothing_of_it_is_left_and_schools_and_rooms_stay(self, run, database_url, world):
        talk(world, world.larch)
        other = created(world.lead.post("/v1/seasons", json=AUTUMN))
        paths = [f"/v1/benches/{world.larch.bench_id}", f"/v1/equipment/{world.larch.meter_id}",
                f"/v1/organisations/{world.larch.organisation_id}",
                f"/v1/builds/{world.reference_build_id}"]  # fmt: skip
        before = [world.lead.get(path).json() for path in paths]
        done = run("purge", "--season", world.season_id, "--yes")
        assert done.exit_code == 0, done.output
        assert "backups made before still hold it" in done.stderr
        gone = [world.larch.team_id, world.larch.turbine_id, world.larch.build_id,
                world.larch.session_id, world.larch.trial_id, world.larch.import_id]  # fmt: skip
        left = traces(database_url, *gone, world.season_id, "Larch one", "Whirl")
        # The audit log keeps the entries of the programme's own chain, without their content.
        assert {name for name, _ in left} == {"audit_entry", "erasure"}
        assert not [word for name, word in left if word in ("Larch one", "Whirl")]
        assert [world.lead.get(path).json() for path in paths] == before
        assert world.lead.get(f"/v1/seasons/{world.season_id}").status_code == 404
        assert world.lead.get(f"/v1/seasons/{other['id']}/report").status_code == 200
        assert run("doctor", "--audit").exit_code == 0

    def test_without_a_name_those_go_that_were_kept_long_enough(
        self, run, database_url, world, monkeypatch
    ):
        assert "sea_" not in run("purge").stdout
        monkeypatch.setenv("GUSTBOOK_RETENTION_DAYS", "60")
        old = created(world.lead.post("/v1/seasons", json={
            "name": "Long ago", "starts_on": "2020-02-01", "ends_on": "2020-06-01"}))  # fmt: skip
        done = run("purge", "--yes")
        assert done.exit_code == 0, done.output
        assert old["id"] in done.stdout
        assert world.lead.get(f"/v1/seasons/{old['id']}").status_code == 404

    def test_another_season_of_the_same_schools_keeps_its_numbers(self, run, world):
        other = created(world.lead.post("/v1/seasons", json=AUTUMN))["id"]
        coach, school = world.larch.coach, world.larch
        named = {"organisation_id": school.organisation_id, "season_id": other, "name": "New"}
        team = created(coach.post("/v1/teams", json=named))
        turbine = created(coach.post("/v1/turbines", json={"team_id": team["id"], "name": "Gale"}))
        build = created(coach.post("/v1/builds", json={
            "turbine_id": turbine["id"], "rotor_diameter_m": 0.4, "blade_count": 3}))  # fmt: skip
        session = created(coach.post("/v1/sessions", json=session_payload(
            school, season_id=other, started_at="2026-09-10T10:00:00Z")))  # fmt: skip
        created(coach.post("/v1/trials", json=trial_payload(
            school, session_id=session["id"], build_id=build["id"])))  # fmt: skip
        before = world.lead.get(f"/v1/seasons/{other}/report").json()
        assert run("purge", "--season", world.season_id, "--yes").exit_code == 0
        after = world.lead.get(f"/v1/seasons/{other}/report").json()
        for report in (before, after):
            del report["revision"], report["as_of"]
        assert after == before
        assert after["trials_stored"] == 1


class TestASchool:
    def test_nothing_of_it_is_left(self, run, database_url, world):
        talk(world, world.larch)
        assert traces(database_url, SECRET_WORDS)
        done = run("purge", "--organisation", world.larch.organisation_id, "--yes")
        assert done.exit_code == 0, done.output
        left = traces(database_url, SECRET_WORDS, "Larch", *ids_of(world.larch))
        assert {name for name, _ in left} <= {"audit_entry", "erasure", "access_key"}
        assert not [word for _, word in left if word in (SECRET_WORDS, "Larch")]
        assert world.larch.coach.get("/v1/teams").status_code == 401
        assert run("doctor", "--audit").exit_code == 0

    def test_the_other_school_keeps_everything(self, run, world):
        season = f"/v1/seasons/{world.season_id}"
        narrowed = f"{season}/report?organisation_id={world.birch.organisation_id}"
        before = world.lead.get(narrowed).json()
        assert run("purge", "--organisation", world.larch.organisation_id, "--yes").exit_code == 0
        after = world.lead.get(narrowed).json()
        assert after["organisations"] == before["organisations"]
        order = world.lead.get(f"/v1/events/{world.birch.event_id}/run-order").json()
        assert {slot["team_id"] for slot in order["slots"]} == {None, world.birch.team_id}
        for path in ("report", "comparison", "plan"):
            assert world.lead.get(f"{season}/{path}").status_code == 200

    def test_a_room_that_anothers_trial_rests_on_stays_without_words(
        self, run, database_url, world, signed
    ):
        talk(world, world.larch)
        guest = trial_payload(world.larch, build_id=world.birch.build_id, kind="visit",
                              load_id=None)  # fmt: skip
        visit = created(world.lead.post("/v1/trials", json=guest))
        shown = f"/v1/trials/{visit['id']}"
        before = world.lead.get(shown).json()["result"]
        assert run("purge", "--organisation", world.larch.organisation_id, "--yes").exit_code == 0
        after = world.lead.get(shown).json()["result"]
        assert after["power_w"] == before["power_w"]
        assert after["air_density_kg_m3"] == before["air_density_kg_m3"]
        assert not [word for _, word in traces(database_url, SECRET_WORDS, "Larch")]
        school = world.lead.get(f"/v1/organisations/{world.larch.organisation_id}").json()
        assert school["name"].startswith("A school that left")
        assert world.birch.coach.get(f"/v1/organisations/{school['id']}").status_code == 404

    def test_a_key_that_reaches_another_school_too_goes_on(self, run, world, signed):
        both = [world.larch.organisation_id, world.birch.organisation_id]
        asked = {"label": "both", "role": "coach", "organisation_ids": both}
        coach = signed(created(world.lead.post("/v1/keys", json=asked))["key"])
        assert run("purge", "--organisation", world.larch.organisation_id, "--yes").exit_code == 0
        assert len(coach.get("/v1/teams").json()["items"]) == 1

    def test_the_name_is_free_again(self, run, world, signed):
        assert run("purge", "--organisation", world.larch.organisation_id, "--yes").exit_code == 0
        assert make_school(world.lead, signed, world.season_id, "Larch").trial_id


class TestExport:
    def test_a_school_takes_all_that_is_its_own_and_nothing_of_another(self, world):
        talk(world, world.larch)
        path = f"/v1/organisations/{world.larch.organisation_id}/export"
        answer = world.larch.coach.get(path)
        assert answer.status_code == 200, answer.text
        file = zipfile.ZipFile(io.BytesIO(answer.content))
        parts = {name: file.read(name).decode() for name in file.namelist()}
        text = "".join(parts.values())
        assert all(each in text for each in ids_of(world.larch)
                   if each not in (world.larch.key_id, world.larch.import_id))  # fmt: skip
        assert not [each for each in ids_of(world.birch) if each in text]
        assert "Birch" not in text
        assert SECRET_WORDS in parts["tables/trial.jsonl"]
        assert "Larch one" in parts[f"trials-{world.season_id}.csv"]
        assert json.loads(parts["manifest.json"])["rows"]["trial"] == 2
