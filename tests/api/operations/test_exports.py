"""A complete season as a file gives the same numbers in an empty programme, or is refused."""

import io
import json
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.messages import catalogue
from api.services.access import keys
from api.services.operations import exports
from api.settings import Settings
from tests.support.databases import application, make_lead_key, signer
from tests.support.makers import World, created, season_payload, trial_payload

ZIP = {"Content-Type": "application/zip"}
#: What no other test asks for, so that it is an application of its own. [bytes]
OTHER = 5_000_000


@pytest.fixture
def empty(sqlite_templates) -> Iterator[TestClient]:
    """Return a lead's client of another, empty programme."""
    file = Path(sqlite_templates.empty).with_name("other.db")
    shutil.copy(sqlite_templates.empty, file)
    with application(Settings(database_url=f"sqlite:///{file}", max_body_bytes=OTHER)) as app:
        yield signer(app)(make_lead_key(app))


def export(world):
    answer = world.lead.get(f"/v1/seasons/{world.season_id}/export")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    return answer.content


def bring_in(client, body):
    return client.post("/v1/seasons/import", content=body, headers=ZIP)


def lively(world):
    """Give the season held, answered, withdrawn, corrected and reference trials."""
    coach = world.larch.coach
    for school in (world.larch, world.birch):
        run = trial_payload(school, kind="reference", build_id=world.reference_build_id)
        created(world.lead.post("/v1/trials", json=run))
    odd = trial_payload(world.larch, runs=[{"voltage_v": 1.2}, {"voltage_v": 0.9}])
    held, answered, gone = (created(coach.post("/v1/trials", json=odd | {"pitch_deg": pitch}))
                            for pitch in (9.0, 10.0, 11.0))  # fmt: skip
    (flag,) = [each for each in answered["flags"] if each["rule"] == "runs_disagree"]
    fields = {"answer": "confirm", "reason": "two blades were reset"}
    assert coach.post(f"/v1/flags/{flag['id']}/answer", json=fields).is_success
    path = f"/v1/trials/{gone['id']}/withdraw"
    assert coach.post(path, json={"reason": "a blade was loose"}).is_success
    return held, answered, gone


def answers_of(client, world):
    paths = (f"seasons/{world.season_id}/report", f"seasons/{world.season_id}/comparison",
             f"teams/{world.larch.team_id}/progress", "flags?limit=200", "builds?limit=200",
             "equipment?limit=200", f"events/{world.larch.event_id}/readiness",
             f"events/{world.larch.event_id}/run-order")  # fmt: skip
    answers = [client.get(f"/v1/{path}").json() for path in paths]
    apart = {"as_of", "revision"}
    return [{key: each for key, each in answer.items() if key not in apart} for answer in answers]


def changed(body, name, old, new):
    """Return an export with something in one of its files replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(body)) as before, zipfile.ZipFile(out, "w") as after:
        for part in before.namelist():
            text = before.read(part).decode()
            after.writestr(part, text.replace(old, new) if part == name else text)
    return out.getvalue()


@pytest.mark.on_both
class TestThereAndBack:
    def test_every_number_is_the_same(self, world: World, empty):
        held, answered, gone = lively(world)
        imported = bring_in(empty, export(world))
        assert imported.status_code == 201, imported.text
        assert imported.headers["location"] == f"/v1/seasons/{world.season_id}"
        assert answers_of(empty, world) == answers_of(world.lead, world)
        states = [empty.get(f"/v1/trials/{each['id']}").json()["state"]
                  for each in (held, answered, gone)]  # fmt: skip
        assert states == ["held", "accepted", "withdrawn"]

    def test_in_a_form_as_well(self, world: World, empty):
        file = {"file": ("season.zip", export(world))}
        imported = empty.post("/v1/seasons/import", files=file)
        assert imported.status_code == 201, imported.text
        assert answers_of(empty, world) == answers_of(world.lead, world)

    def test_the_same_season_is_the_same_file(self, world: World, empty):
        lively(world)
        first = export(world)
        assert export(world) == first
        bring_in(empty, first)
        again = empty.get(f"/v1/seasons/{world.season_id}/export").content
        with zipfile.ZipFile(io.BytesIO(first)) as one, zipfile.ZipFile(io.BytesIO(again)) as two:
            differing = [name for name in one.namelist() if one.read(name) != two.read(name)]
            digests = [json.loads(file.read("manifest.json"))["digest"] for file in (one, two)]
        assert digests[0] == digests[1]
        # What was done to the season here is recorded here: that it was imported, and looked at.
        assert set(differing) <= {"tables/audit_entry.jsonl", "tables/audit_chain.jsonl",
                                  "manifest.json"}  # fmt: skip

    def test_the_audit_log_comes_along_and_stays_sealed(self, world: World, empty):
        from api.services.core import audit

        lively(world)
        bring_in(empty, export(world))
        imported_history = empty.get(f"/v1/trials/{world.larch.trial_id}/history").json()["items"]
        assert empty.get("/v1/audit", params={"action": "withdrawn"}).json()["items"]
        assert isinstance(imported_history, list)
        with empty.app.state.database.reading() as db:
            assert list(audit.broken_seals(db)) == []


class TestRefused:
    def test_where_any_of_it_is_here(self, world: World):
        refused = bring_in(world.lead, export(world))
        assert refused.status_code == 409
        assert "empty programme" in refused.json()["detail"]

    @pytest.mark.on_both
    def test_numbers_that_come_out_other(self, world: World, empty):
        run = "tables/run.jsonl"
        body = changed(export(world), run, '"voltage_v": 1.2', '"voltage_v": 1.4')
        refused = bring_in(empty, body)
        assert refused.status_code == 409
        assert "come out other" in refused.json()["detail"]
        assert empty.get("/v1/teams").json()["items"] == []
        # The refused attempt has stored nothing, and no cached answers either.
        assert bring_in(empty, export(world)).status_code == 201

    @pytest.mark.parametrize(
        "body",
        [b"", b"PK\x03\x04 and no more", b"team;voltage\n", b"PK\x05\x06" + b"\0" * 18],
    )
    def test_what_is_no_export(self, body, world: World, empty):
        refused = bring_in(empty, body)
        assert (refused.status_code, "errors" in refused.json()) == (422, True)

    def test_a_trial_in_another_seasons_session(self, world: World, empty):
        other = created(empty.post("/v1/seasons", json=season_payload(name="Other")))["id"]
        body = changed(
            export(world), "tables/session.jsonl",
            f'"season_id": "{world.season_id}"', f'"season_id": "{other}"',
        )  # fmt: skip
        answer = bring_in(empty, body)
        assert answer.status_code == 422, answer.text
        assert "another season" in answer.text

    @pytest.mark.parametrize(
        ("name", "text"),
        [("manifest.json", "[]"), ("tables/team.jsonl", "{"), ("tables/team.jsonl", "[" * 50_000)],
    )
    def test_a_part_that_is_not_of_an_export(self, name, text, world: World, empty):
        out = io.BytesIO()
        with (
            zipfile.ZipFile(io.BytesIO(export(world))) as before,
            zipfile.ZipFile(out, "w") as after,
        ):
            for part in before.namelist():
                after.writestr(part, text if part == name else before.read(part))
        assert bring_in(empty, out.getvalue()).status_code == 422

    def test_a_row_beyond_its_limits(self, world: World, empty):
        build = "tables/build.jsonl"
        body = changed(export(world), build, '"blade_count": 3', '"blade_count": -3')
        refused = bring_in(empty, body)
        assert refused.status_code == 422
        assert "build is not sound" in refused.json()["detail"]

    def test_another_kind_of_content(self, world: World, empty):
        refused = empty.post(
            "/v1/seasons/import", content=b"x", headers={"Content-Type": "text/csv"}
        )
        assert refused.status_code == 415

    def test_a_form_without_the_file(self, world: World, empty):
        refused = empty.post("/v1/seasons/import", files={"season": b"PK"})
        assert refused.status_code == 422
        assert refused.json()["errors"][0]["pointer"] == "/file"

    def test_a_coach_takes_nothing_out_and_brings_nothing_in(self, world: World):
        path = f"/v1/seasons/{world.season_id}/export"
        assert world.larch.coach.get(path).status_code == 403
        assert bring_in(world.larch.coach, b"x").status_code == 403


@pytest.mark.on_both
def test_another_wording_is_no_other_number(world: World, monkeypatch):
    def digest():
        with world.lead.app.state.database.reading() as db:
            return exports.season_digest(db, keys.CONSOLE, world.season_id)

    before = digest()
    for key in ("fair.not_yet", "fair.available"):
        monkeypatch.setitem(catalogue().forms, key, ("Said in other words.",))
    assert digest() == before
    created(world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, pitch_deg=4)))
    assert digest() != before
