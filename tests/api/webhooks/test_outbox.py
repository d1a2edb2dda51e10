"""What webhooks are to send is stored with what happened, and not otherwise."""

import json

import pytest
from sqlalchemy import event, update

from api.models.webhooks.deliveries import WebhookDelivery
from api.services.webhooks import outbox
from api.settings import Settings
from tests.support.makers import created, session_payload, trial_payload
from tests.support.webhooks import deliveries_of, held_trial, make_webhook

PORT = 8765
pytestmark = pytest.mark.on_both


@pytest.fixture
def settings(database_url):
    return Settings(
        database_url=database_url, max_body_bytes=3_000_000, webhook_hosts=f"127.0.0.1:{PORT}"
    )


@pytest.fixture(autouse=True)
def _sends_nothing(monkeypatch):
    """Keep the service of a test from sending what is due."""
    monkeypatch.setattr("api.services.webhooks.attempts.due", lambda *_: [])


@pytest.fixture
def database(app_client):
    return app_client.app.state.database


@pytest.fixture
def hooks(world):
    """Return the ids of a webhook of each school and of the programme."""
    owners = {"larch": world.larch.organisation_id, "birch": world.birch.organisation_id,
              "programme": None}  # fmt: skip
    return {name: make_webhook(world.lead, owner, PORT)["id"] for name, owner in owners.items()}


def stored(database, hooks):
    """Return the kinds and things of the deliveries, by the name of their webhook."""
    return {name: [(row.kind, row.thing_id) for row in deliveries_of(database, hook)]
            for name, hook in hooks.items()}  # fmt: skip


def usual(school):
    runs = [{"voltage_v": volts} for volts in (1.21, 1.22, 1.23)]
    return trial_payload(school, runs=runs, pitch_deg=8.0, client_ref="usual")


def usual_trial(school):
    return created(school.coach.post("/v1/trials", json=usual(school)))


NOTHING = {"larch": [], "birch": [], "programme": []}


class TestNothingIsStored:
    def test_of_a_trial_that_counts(self, world, database, hooks):
        assert usual_trial(world.larch)["state"] == "accepted"
        assert stored(database, hooks) == NOTHING

    def test_of_a_refused_trial_and_a_retry(self, world, database, hooks):
        runs = [{"voltage_v": 1.2}, {"voltage_v": 1.9}]
        headers = {"Idempotency-Key": "once"}
        asked = trial_payload(world.larch, runs=runs)
        for _ in range(2):
            created(world.larch.coach.post("/v1/trials", json=asked, headers=headers))
        wrong = trial_payload(world.larch, runs=runs, load_connected=False)
        assert world.larch.coach.post("/v1/trials", json=wrong).status_code == 422
        assert len(stored(database, hooks)["larch"]) == 1

    def test_of_an_import_that_is_tried_or_refused(self, world, database, hooks):
        held = trial_payload(
            world.larch, client_ref="h", runs=[{"voltage_v": 1.2}, {"voltage_v": 1.9}]
        )
        wrong = trial_payload(world.larch, client_ref="w", build_id=world.birch.build_id)
        tried = world.larch.coach.post("/v1/imports?dry_run=true", json={"trials": [held]})
        assert tried.json()["rows"][0]["state"] == "held"
        refused = world.larch.coach.post("/v1/imports", json={"trials": [held, wrong]})
        assert refused.status_code == 422
        assert stored(database, hooks) == NOTHING

    def test_of_a_transaction_that_fails(self, world, database, hooks):
        def change_and_fail():
            with database.unit_of_work() as db:
                outbox.note_result(db, world.larch.event_id)
                raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            change_and_fail()
        assert stored(database, hooks) == NOTHING

    def test_for_a_webhook_of_other_kinds_or_whose_key_has_ended(self, world, database):
        mine = world.larch.organisation_id
        other = make_webhook(world.larch.coach, mine, PORT, kinds=["import.stored"])["id"]
        ended = make_webhook(world.larch.coach, mine, PORT)["id"]
        far = make_webhook(world.lead, mine, PORT)["id"]
        key = f"/v1/keys/{world.larch.key_id}"
        both = {"organisation_ids": [world.birch.organisation_id]}
        moved = world.lead.patch(key, json=both, headers={"If-Match": "*"})
        assert moved.status_code == 200, moved.text
        session = session_payload(world.larch, started_at="2026-03-06T14:30:00Z")
        session_id = created(world.lead.post("/v1/sessions", json=session))["id"]
        asked = trial_payload(world.larch, session_id=session_id,
                              runs=[{"voltage_v": 1.2}, {"voltage_v": 1.9}])  # fmt: skip
        created(world.lead.post("/v1/trials", json=asked))
        assert [len(deliveries_of(database, each)) for each in (other, ended, far)] == [0, 0, 1]


class TestWhatIsStored:
    def test_a_held_trial_is_for_its_school_and_the_programme(self, world, database, hooks):
        held = held_trial(world.larch)["id"]
        expected = [("trial.needs_answer", held)]
        assert stored(database, hooks) == {"larch": expected, "birch": [], "programme": expected}
        (row,) = deliveries_of(database, hooks["larch"])
        assert row.data == {"trial_id": held, "organisation_id": world.larch.organisation_id,
                            "path": f"/v1/trials/{held}"}  # fmt: skip
        assert world.larch.coach.get(row.data["path"]).status_code == 200

    def test_a_visitors_trial_is_for_its_own_school(self, world, database, hooks, signed):
        both = [world.larch.organisation_id, world.birch.organisation_id]
        asked = {"label": "both", "role": "coach", "organisation_ids": both}
        coach = signed(created(world.lead.post("/v1/keys", json=asked))["key"])
        runs = [{"voltage_v": 1.2}, {"voltage_v": 1.9}]
        visit = trial_payload(world.birch, build_id=world.larch.build_id, kind="visit", runs=runs)
        assert created(coach.post("/v1/trials", json=visit))["state"] == "held"
        assert [*map(len, stored(database, hooks).values())] == [1, 0, 1]

    def test_an_answered_trial_that_is_held_again_is_a_second_message(self, world, database, hooks):
        path = f"/v1/trials/{usual_trial(world.larch)['id']}/corrections"

        def corrected(*volts):
            changes = {"runs": [{"voltage_v": each} for each in volts]}
            asked = {"reason": "misread", "changes": changes}
            return created(world.larch.coach.post(path, json=asked))["state"]

        assert [corrected(1.2, 1.9), corrected(1.21, 1.22), corrected(1.2, 1.8)] == [
            "held", "accepted", "held"
        ]  # fmt: skip
        # The first message has not been tried yet, so one is enough.
        assert len(stored(database, hooks)["larch"]) == 1
        with database.unit_of_work() as db:
            db.execute(update(WebhookDelivery).values(attempts=1))
        assert [corrected(1.21, 1.22), corrected(1.2, 1.7)] == ["accepted", "held"]
        assert len(stored(database, hooks)["larch"]) == 2

    def test_an_import_is_for_its_schools(self, world, database, hooks):
        batch = {"trials": [usual(world.larch)]}
        made = created(world.larch.coach.post("/v1/imports", json=batch))["id"]
        expected = [("import.stored", made)]
        assert stored(database, hooks) == {"larch": expected, "birch": [], "programme": expected}
        (row,) = deliveries_of(database, hooks["larch"])
        assert world.larch.coach.get(row.data["path"]).json()["id"] == made

    def test_many_held_trials_are_one_message(self, world, database, hooks):
        runs = [{"voltage_v": 1.2}, {"voltage_v": 1.9}]
        trials = [
            trial_payload(world.larch, client_ref=f"h{at}", pitch_deg=at / 2, runs=runs)
            for at in range(outbox.MOST_TRIALS + 1)
        ]
        batch = {"trials": trials}
        created(world.larch.coach.post("/v1/imports", json=batch))
        school = world.larch.organisation_id
        (row,) = [each for each in deliveries_of(database, hooks["larch"])
                  if each.kind == "trial.needs_answer"]  # fmt: skip
        assert row.thing_id == school
        listed = world.larch.coach.get(row.data["path"]).json()["items"]
        assert len(listed) == outbox.MOST_TRIALS + 1

    def test_an_events_results_are_for_all_and_one_message_until_it_is_sent(
        self, world, database, hooks
    ):
        day = session_payload(world.larch, started_at="2026-05-16T09:00:00Z")
        session_id = created(world.lead.post("/v1/sessions", json=day))["id"]
        for position in (1, 2):
            run = {"position": position, "build_id": world.larch.build_id, "outcome": "ok",
                   "trial": {"load_ohm": 30.1, "load_connected": True, "meter_range_v": 2.0,
                             "runs": [{"voltage_v": 1.2}] * 3}}  # fmt: skip
            path = f"/v1/events/{world.larch.event_id}/results"
            answer = world.lead.post(path, json={"session_id": session_id, "runs": [run]})
            assert answer.status_code in (200, 201), answer.text
        expected = [("event.result", world.larch.event_id)]
        assert stored(database, hooks) == dict.fromkeys(hooks, expected)
        (row,) = deliveries_of(database, hooks["birch"])
        assert world.birch.coach.get(row.data["path"]).status_code == 200

    def test_a_trial_of_an_events_day_is_a_result_of_it(self, world, database, hooks):
        day = session_payload(world.larch, started_at="2026-05-16T09:00:00Z")
        session_id = created(world.larch.coach.post("/v1/sessions", json=day))["id"]
        asked = trial_payload(world.larch, session_id=session_id, kind="event")
        created(world.larch.coach.post("/v1/trials", json=asked))
        expected = ("event.result", world.larch.event_id)
        assert all(expected in each for each in stored(database, hooks).values())

    def test_no_message_has_a_figure_or_a_name(self, world, database, hooks):
        held_trial(world.larch, note="by the blue team", client_ref="larch-77")
        texts = json.dumps([row.data for row in deliveries_of(database)])
        for each in ("Larch", "blue", "larch-77", "1.9"):
            assert each not in texts


def test_without_a_webhook_a_usual_trial_asks_nothing_more(world, database, statements):
    """Only what a webhook may be about makes the service look for webhooks."""
    assert usual_trial(world.larch)["state"] == "accepted"
    assert statements == []
    held_trial(world.larch, client_ref="held")
    assert len(statements) == 1


@pytest.fixture
def statements(database):
    """Return the statements of writes that looked for webhooks so far."""
    noted = []

    def note(connection, cursor, statement, *_):
        if "FROM webhook " in " ".join(statement.split()):
            noted.append(statement)

    event.listen(database.write_engine, "before_cursor_execute", note)
    yield noted
    event.remove(database.write_engine, "before_cursor_execute", note)
