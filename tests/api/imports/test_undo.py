"""Undo an import, and correct the rows it refused."""

import csv
import io
import json
from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy as sa

from api.models.measurements.flags import Flag
from api.models.trials.trials import Run, Trial
from api.services.core import revisions
from tests.support.makers import World, created, trial_payload

HEADER = ("team,build,bench,session_started_at,client_ref,load_ohm,load_connected,voltage_v,"
          "wind_speed_m_s,adult_present,problem")  # fmt: skip


def sheet(*volts, day="2026-03-19 10:00"):
    rows = [
        f"Larch one,1,Larch hall,{day},sheet-{at},30.1,yes,{volt},4.1,yes,"
        for at, volt in enumerate(volts)
    ]
    return "\r\n".join([HEADER, *rows]) + "\r\n"


def send(client, text, **parameters):
    return client.post(
        "/v1/imports", params=parameters, content=text, headers={"Content-Type": "text/csv"}
    )


def undo(client, import_id):
    return client.post(f"/v1/imports/{import_id}/undo", json={"reason": "the wrong file"})


def report(world):
    """Return the season's report without what tells one asking from another."""
    body = world.lead.get(f"/v1/seasons/{world.season_id}/report").json()
    return json.dumps({**body, "as_of": None, "revision": None}, sort_keys=True)


@pytest.mark.on_both
class TestUndo:
    def test_the_report_is_what_it_was(self, world: World):
        before = report(world)
        flags = len(world.lead.get("/v1/flags").json()["items"])
        stored = created(send(world.larch.coach, sheet(1.3, 1.32, 1.29)))
        assert report(world) != before
        done = undo(world.larch.coach, stored["id"])
        assert done.status_code == 200, done.text
        assert done.json()["undone_at"]
        assert report(world) == before
        assert len(world.lead.get("/v1/flags").json()["items"]) == flags
        sessions = world.lead.get("/v1/sessions").json()["items"]
        assert "2026-03-19" not in str([each["started_at"] for each in sessions])

    def test_a_wind_sweep_taken_back_leaves_no_exponent(self, world: World):
        rows = [
            f"Larch one,1,Larch hall,2026-03-19 10:00,wind,sweep-{at},30.1,yes,{volts},{speed},yes"
            for at, (volts, speed) in enumerate(((0.95, 3.3), (1.2, 4.0), (1.5, 4.8)))
            for _ in range(2)
        ]
        head = ("team,build,bench,session_started_at,kind,client_ref,load_ohm,load_connected,"
                "voltage_v,wind_speed_m_s,adult_present")  # fmt: skip
        stored = created(send(world.larch.coach, "\r\n".join([head, *rows])))
        path = f"/v1/trials/{world.larch.trial_id}"
        assert world.lead.get(path).json()["result"]["wind_exponent_source"] == "own"
        assert undo(world.larch.coach, stored["id"]).status_code == 200
        assert world.lead.get(path).json()["result"]["wind_exponent_source"] == "default"

    def test_the_same_file_is_new_again_afterwards(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3)))
        undo(world.larch.coach, stored["id"])
        assert created(send(world.larch.coach, sheet(1.3)))["outcomes"]["created"] == 1

    def test_a_session_that_others_use_stays(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3)))
        session = world.lead.get(f"/v1/trials/{stored['rows'][0]['id']}").json()["session_id"]
        more = trial_payload(world.larch, session_id=session, runs=[{"voltage_v": 1.4}] * 2)
        created(world.larch.coach.post("/v1/trials", json=more))
        assert undo(world.larch.coach, stored["id"]).status_code == 200
        assert world.lead.get(f"/v1/sessions/{session}").status_code == 200

    def test_later_work_stands_on_it(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3, 1.32)))
        trial = stored["rows"][0]["id"]
        correction = {"reason": "misread", "changes": {"load_ohm": 22.0}}
        created(world.larch.coach.post(f"/v1/trials/{trial}/corrections", json=correction))
        refused = undo(world.larch.coach, stored["id"])
        assert refused.status_code == 409
        assert trial in refused.text
        assert world.lead.get(f"/v1/trials/{trial}").status_code == 200

    def test_once_is_enough(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3)))
        assert undo(world.larch.coach, stored["id"]).status_code == 200
        assert undo(world.larch.coach, stored["id"]).status_code == 409

    def test_anothers_import_is_not_there(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3)))
        assert undo(world.birch.coach, stored["id"]).status_code == 404

    def test_an_answer_for_its_session_is_later_work(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3)))
        session = world.lead.get(f"/v1/trials/{stored['rows'][0]['id']}").json()["session_id"]
        flag = world.larch.coach.get("/v1/flags", params={"session_id": session}).json()["items"][0]
        fields = {"answer": "confirm", "reason": "we know"}
        assert world.larch.coach.post(f"/v1/flags/{flag['id']}/answer", json=fields).is_success
        refused = undo(world.larch.coach, stored["id"])
        assert (refused.status_code, session in refused.text) == (409, True)
        assert world.lead.get(f"/v1/sessions/{session}").status_code == 200

    def test_a_key_that_no_longer_reaches_the_school_sees_nothing_of_it(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3, "1.l9"), mode="partial"))
        path = f"/v1/keys/{world.larch.key_id}"
        moved = world.lead.patch(
            path, json={"organisation_ids": [world.birch.organisation_id]},
            headers={"If-Match": world.lead.get(path).headers["ETag"]},
        )  # fmt: skip
        assert moved.status_code == 200
        for reading in ("", "/errors.csv", "/history"):
            assert world.larch.coach.get(f"/v1/imports/{stored['id']}{reading}").status_code == 404
        assert undo(world.larch.coach, stored["id"]).status_code == 404
        assert undo(world.lead, stored["id"]).status_code == 200

    def test_two_at_once_take_it_back_once(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3, 1.32)))
        with ThreadPoolExecutor(2) as pool:
            works = [pool.submit(undo, world.larch.coach, stored["id"]) for _ in range(2)]
        assert sorted(each.result().status_code for each in works) == [200, 409]
        entries = world.larch.coach.get(f"/v1/imports/{stored['id']}/history").json()["items"]
        assert [entry["action"] for entry in entries] == ["imported", "undone"]

    def test_an_answer_to_an_undone_import_gets_404(self, world: World, monkeypatch):
        """The undo comes between finding a trial's flag and locking it: gone, and no fault."""
        stored = created(send(world.larch.coach, sheet(1.3, 9.9)))
        trial = stored["rows"][1]["id"]
        raise_season = revisions.raise_season

        def undo_first(db, *season_ids, **how):
            for table in (Flag, Run, Trial):
                key = Trial.id if table is Trial else table.trial_id
                db.execute(sa.delete(table).where(key == trial))
            raise_season(db, *season_ids, **how)

        monkeypatch.setattr(revisions, "raise_season", undo_first)
        answer = world.larch.coach.post(f"/v1/trials/{trial}/withdraw", json={"reason": "x y"})
        assert answer.status_code == 404, answer.text

    def test_it_is_written_down(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3)))
        undo(world.larch.coach, stored["id"])
        entries = world.larch.coach.get(f"/v1/imports/{stored['id']}/history").json()["items"]
        assert [entry["action"] for entry in entries] == ["imported", "undone"]
        assert entries[-1]["reason"] == "the wrong file"


class TestErrors:
    def test_refused_rows_come_back_with_what_is_wrong(self, world: World):
        text = sheet(1.3, "1.l9", 1.31)
        stored = created(send(world.larch.coach, text, mode="partial"))
        answer = world.larch.coach.get(f"/v1/imports/{stored['id']}/errors.csv")
        assert answer.headers["content-type"].startswith("text/csv")
        (row,) = csv.DictReader(io.StringIO(answer.text))
        assert (row["client_ref"], row["voltage_v"]) == ("sheet-1", "1.l9")
        assert "not a number" in row["problem"]

    def test_corrected_it_is_taken(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3, "1.l9"), mode="partial"))
        answer = world.larch.coach.get(f"/v1/imports/{stored['id']}/errors.csv")
        corrected = answer.text.replace("1.l9", "1.19")
        again = created(send(world.larch.coach, corrected))
        assert again["trials"] == {"created": 1, "unchanged": 0, "error": 0}

    def test_nothing_refused_is_a_header_alone(self, world: World):
        stored = created(send(world.larch.coach, sheet(1.3)))
        answer = world.larch.coach.get(f"/v1/imports/{stored['id']}/errors.csv")
        assert answer.text == "problem\r\n"

    def test_rows_that_cannot_be_cut_into_cells_come_back_too(self, world: World):
        text = sheet(1.3) + "Larch one,1\r\n" + "Larch one,1" + ",x" * 11 + "\r\n"
        stored = created(send(world.larch.coach, text, mode="partial"))
        answer = world.larch.coach.get(f"/v1/imports/{stored['id']}/errors.csv")
        _, short, long = csv.reader(io.StringIO(answer.text))
        assert short[:2] == ["Larch one", "1"]
        assert "the row has 2 cells" in short[-1]
        assert "the row has 13 cells" in " ".join(long)
        assert long.count("x") == 11
        again = send(world.larch.coach, answer.text)
        assert [error["code"] for error in again.json()["errors"]] == ["cell_count"] * 2

    def test_a_formula_in_them_is_only_text(self, world: World):
        text = sheet("1.l9").replace("Larch one", "=1+1").replace("30.1", "-30.1")
        stored = created(send(world.larch.coach, text, mode="partial"))
        answer = world.larch.coach.get(f"/v1/imports/{stored['id']}/errors.csv")
        (row,) = csv.DictReader(io.StringIO(answer.text))
        assert (row["team"], row["load_ohm"]) == ("'=1+1", "-30.1")


class TestWarnings:
    """9.4 m/s where the hall has about 4 reads like mph: a check holds it."""

    ODD = sheet(1.3).replace(",4.1,", ",9.4,")

    @pytest.mark.parametrize("mode", ["all", "partial"])
    def test_not_accepted_nothing_is_stored(self, mode, world: World):
        before = len(world.larch.coach.get("/v1/trials").json()["items"])
        answer = send(world.larch.coach, self.ODD, warnings="refuse", mode=mode)
        assert answer.status_code == 422
        assert "wind_unit_slip" in str(answer.json()["errors"])
        assert answer.json()["errors"][0]["row"] == 2
        assert len(world.larch.coach.get("/v1/trials").json()["items"]) == before

    def test_a_dry_run_tells_them_apart_from_errors(self, world: World):
        tried = send(world.larch.coach, self.ODD, dry_run=True).json()
        (row,) = tried["rows"]
        assert (row["outcome"], row["errors"], row["state"]) == ("created", [], "held")
        assert row["flags"]

    @pytest.mark.on_both
    def test_accepted_it_is_stored_and_waits(self, world: World):
        stored = created(send(world.larch.coach, self.ODD, warnings="accept"))
        assert stored["rows"][0]["state"] == "held"
