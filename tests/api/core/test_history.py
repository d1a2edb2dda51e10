"""Corrections and the audit log: nothing is lost, and nobody can change an entry."""

import pytest
import sqlalchemy as sa
from sqlmodel import select

from api.models.core.audit import AuditEntry
from api.services.access import keys
from api.services.core import audit
from tests.support.makers import World, build_payload, created, trial_payload


def correct(client, trial_id, reason="misread", **changes):
    asked = {"reason": reason, "changes": changes}
    return client.post(f"/v1/trials/{trial_id}/corrections", json=asked)


def history(client, path):
    answer = client.get(f"/v1/{path}/history")
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


class TestRefused:
    @pytest.mark.parametrize(
        ("changes", "status"),
        [({"load_ohm": -3}, 422), ({"client_ref": "x"}, 422), ({"session_id": "ses_x"}, 422),
         ({}, 422), ({"load_ohm": 30.1}, 422), ({"kind": "reference"}, 422),
         ({"load_connected": False}, 422)],
        ids=["beyond limits", "its name", "its session", "nothing", "the same", "another kind",
             "what is blocked"],
    )  # fmt: skip
    def test_what_is_no_correction(self, changes, status, world: World):
        before = world.larch.coach.get(f"/v1/trials/{world.larch.trial_id}").json()
        assert correct(world.larch.coach, world.larch.trial_id, **changes).status_code == status
        assert world.larch.coach.get(f"/v1/trials/{world.larch.trial_id}").json() == before

    def test_without_a_reason(self, world: World):
        answer = world.larch.coach.post(
            f"/v1/trials/{world.larch.trial_id}/corrections", json={"changes": {"load_ohm": 22}}
        )
        assert answer.status_code == 422

    def test_of_another_school(self, world: World):
        answer = correct(world.birch.coach, world.larch.trial_id, load_ohm=22.0)
        assert answer.status_code == 404
        path = f"/v1/trials/{world.larch.trial_id}/history"
        assert world.birch.coach.get(path).status_code == 404

    def test_a_withdrawn_trial(self, world: World):
        path = f"/v1/trials/{world.larch.trial_id}/withdraw"
        done = world.larch.coach.post(path, json={"reason": "a blade was loose"})
        assert (done.status_code, done.json()["state"]) == (200, "withdrawn")
        assert correct(world.larch.coach, world.larch.trial_id, load_ohm=22.0).status_code == 409
        assert world.larch.coach.post(path, json={"reason": "again"}).status_code == 409

    def test_the_record_is_a_leads(self, world: World):
        assert world.larch.coach.get("/v1/audit").status_code == 403


@pytest.mark.on_both
class TestCorrections:
    def test_the_old_value_stays_readable(self, world: World):
        trial = created(correct(world.larch.coach, world.larch.trial_id, load_ohm=22.0))
        assert trial["load_ohm"] == 22.0
        assert trial["result"]["power_w"] == pytest.approx(1.2**2 / 22)
        entry = history(world.larch.coach, f"trials/{world.larch.trial_id}")[-1]
        assert (entry["action"], entry["reason"]) == ("corrected", "misread")
        assert entry["changes"] == {"load_ohm": [30.1, 22.0]}
        assert entry["key_label"] == "Larch coach"

    def test_runs_are_put_right_together(self, world: World):
        runs = [{"voltage_v": 1.1}, {"voltage_v": 1.12}]
        trial = created(correct(world.larch.coach, world.larch.trial_id, runs=runs))
        assert [run["voltage_v"] for run in trial["runs"]] == [1.1, 1.12]
        old, new = history(world.larch.coach, f"trials/{trial['id']}")[-1]["changes"]["runs"]
        assert [run["voltage_v"] for run in old] == [1.2, 1.2, 1.2]
        assert [run["voltage_v"] for run in new] == [1.1, 1.12]

    def test_in_another_unit(self, world: World):
        trial = created(correct(world.larch.coach, world.larch.trial_id, load_kohm=0.022))
        assert trial["load_ohm"] == pytest.approx(22.0)

    def test_to_another_build_of_the_team(self, world: World):
        other = created(
            world.larch.coach.post("/v1/builds", json=build_payload(world.larch.turbine_id))
        )
        trial = created(correct(world.larch.coach, world.larch.trial_id, build_id=other["id"]))
        assert trial["build_id"] == other["id"]

    def test_not_to_another_school(self, world: World):
        answer = correct(world.lead, world.larch.trial_id, build_id=world.birch.build_id)
        assert answer.status_code == 422
        assert "stays with its school" in answer.json()["detail"]

    def test_the_original_file_sent_again_changes_nothing(self, world: World):
        correct(world.larch.coach, world.larch.trial_id, load_ohm=22.0)
        asked = trial_payload(world.larch, client_ref="first")
        answer = world.larch.coach.post("/v1/trials", json=asked)
        assert answer.status_code == 200
        assert answer.json()["load_ohm"] == 22.0
        other = trial_payload(world.larch, client_ref="first", load_ohm=47.0)
        assert world.larch.coach.post("/v1/trials", json=other).status_code == 409


@pytest.mark.on_both
class TestRecord:
    def test_every_thing_tells_who_made_and_changed_it(self, world: World):
        paths = {
            f"seasons/{world.season_id}": 1,
            f"organisations/{world.larch.organisation_id}": 1,
            f"teams/{world.larch.team_id}": 1,
            f"equipment/{world.larch.meter_id}": 1,
            f"turbines/{world.larch.turbine_id}": 1,
            f"builds/{world.larch.build_id}": 1,
            f"benches/{world.larch.bench_id}": 1,
            f"sessions/{world.larch.session_id}": 1,
            f"trials/{world.larch.trial_id}": 1,
            f"events/{world.larch.event_id}": 1,
        }
        for path, entries in paths.items():
            assert len(history(world.lead, path)) == entries, path
        world.larch.coach.patch(f"/v1/teams/{world.larch.team_id}", json={"size": 5},
                                headers={"If-Match": '"v1"'})  # fmt: skip
        last = history(world.larch.coach, f"teams/{world.larch.team_id}")[-1]
        assert (last["action"], last["changes"]) == ("changed", {"size": [None, 5]})

    def test_an_imported_trial_tells_of_its_import(self, world: World):
        (entry,) = history(world.larch.coach, f"trials/{world.larch.trial_id}")
        assert (entry["action"], entry["thing_id"]) == ("imported", world.larch.import_id)

    def test_the_audit_log_of_a_season_is_complete(self, world: World):
        correct(world.larch.coach, world.larch.trial_id, load_ohm=22.0)
        body = world.lead.get("/v1/audit", params={"season_id": world.season_id}).json()["items"]
        actions = [entry["action"] for entry in body]
        assert actions[0] == "created"
        assert actions[-1] == "corrected"
        narrowed = world.lead.get("/v1/audit", params={"action": "corrected"}).json()["items"]
        assert len(narrowed) == 1

    def test_nobody_rewrites_it(self, world: World, app_client):
        database = app_client.app.state.database
        with database.reading() as db:
            is_postgres = db.get_bind().dialect.name == "postgresql"
        others = (
            ["TRUNCATE audit_entry CASCADE"]
            if is_postgres
            else ["INSERT OR REPLACE INTO audit_entry SELECT * FROM audit_entry",
                  "REPLACE INTO audit_entry SELECT * FROM audit_entry WHERE number = 2"]
        )  # fmt: skip
        for statement in ("UPDATE audit_entry SET reason = 'other'", "DELETE FROM audit_entry",
                          *others):  # fmt: skip
            with (
                pytest.raises(sa.exc.DBAPIError, match="appended to, never changed"),
                database.unit_of_work() as db,
            ):
                db.execute(sa.text(statement))

    @pytest.mark.parametrize("cut", ["number > 3", "number > 0"])
    def test_what_is_cut_off_at_the_end_is_missed(self, cut, world: World, app_client):
        database = app_client.app.state.database
        with database.unit_of_work() as db:
            if db.get_bind().dialect.name == "postgresql":
                db.execute(sa.text("ALTER TABLE audit_entry DISABLE TRIGGER ALL"))
            else:
                db.execute(sa.text("DROP TRIGGER audit_entry_no_delete"))
            chain = {"chain": world.season_id}
            db.execute(sa.text(f"DELETE FROM audit_entry WHERE chain = :chain AND {cut}"), chain)
        with database.reading() as db:
            broken = list(audit.broken_seals(db))
        assert broken == [f"{world.season_id}: entries are missing at its end"]

    def test_words_of_a_note_do_not_live_on_in_it(self, world: World):
        path = f"/v1/trials/{world.larch.trial_id}"
        for words in ("ask a.berg@example.org", "ask the coach"):
            tag = world.larch.coach.get(path).headers["ETag"]
            world.larch.coach.patch(path, json={"note": words}, headers={"If-Match": tag})
        entries = history(world.larch.coach, f"trials/{world.larch.trial_id}")
        assert [entry["action"] for entry in entries[1:]] == ["changed", "changed"]
        assert "example.org" not in str(entries)

    def test_a_key_tells_what_it_reached_and_when_it_ended(self, world: World):
        path = f"/v1/keys/{world.larch.key_id}"

        def change(**asked):
            tag = world.lead.get(path).headers["ETag"]
            done = world.lead.patch(path, json=asked, headers={"If-Match": tag})
            assert done.status_code == 200

        change(organisation_ids=[world.larch.organisation_id, world.birch.organisation_id])
        change(revoked=True)
        entries = history(world.lead, f"keys/{world.larch.key_id}")
        assert [entry["action"] for entry in entries] == [
            "created",
            "changed",
            "changed",
            "revoked",
        ]
        assert entries[1]["changes"] == {"organisation_ids": [[], [world.larch.organisation_id]]}
        both = sorted([world.larch.organisation_id, world.birch.organisation_id])
        assert entries[2]["changes"]["organisation_ids"][1] == both

    def test_a_key_ended_on_the_console_too(self, world: World, app_client):
        with app_client.app.state.database.unit_of_work() as db:
            keys.revoke(db, world.larch.key_id)
        last = history(world.lead, f"keys/{world.larch.key_id}")[-1]
        assert (last["action"], last["key_label"]) == ("revoked", "console")
        assert world.larch.coach.get("/v1/teams").status_code == 401

    def test_a_broken_seal_is_found(self, world: World, app_client):
        database = app_client.app.state.database
        with database.unit_of_work() as db:
            assert list(audit.broken_seals(db)) == []
            entries = list(db.scalars(select(AuditEntry).order_by(AuditEntry.number)))
            for entry in entries:
                db.expunge(entry)
        entries[3].reason = "what was never said"
        assert audit.seal_of(entries[3]) != entries[3].seal

    def test_tampering_by_hand_is_named(self, world: World, app_client):
        """Anyone who takes the triggers away still breaks the chain of seals."""
        database = app_client.app.state.database
        with database.unit_of_work() as db:
            postgres = db.get_bind().dialect.name == "postgresql"
            if postgres:
                db.execute(sa.text("ALTER TABLE audit_entry DISABLE TRIGGER ALL"))
            else:
                db.execute(sa.text("DROP TRIGGER audit_entry_no_update"))
            db.execute(sa.text("UPDATE audit_entry SET key_label = 'nobody' WHERE number = 2"))
        with database.reading() as db:
            assert any("was changed after it was written" in each
                       for each in audit.broken_seals(db))  # fmt: skip
