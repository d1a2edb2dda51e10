"""Messages reach a real receiver, signed; what fails is sent again, later and later."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial

import pytest

from api.models.webhooks.deliveries import WebhookDelivery
from api.models.webhooks.messages import WebhookMessage
from api.services.webhooks import attempts
from api.services.webhooks.attempts import LEASE_S, OFF_AFTER_DAYS, RETRY_AFTER_S
from api.services.webhooks.sending import Outcome, WebhookClient
from api.settings import Settings
from tests.support.makers import World
from tests.support.receivers import receiving
from tests.support.webhooks import (
    deliveries_of,
    held_trial,
    later,
    make_webhook,
    send_due,
    webhook_of,
)


@pytest.fixture
def receiver():
    with receiving() as running:
        yield running


@pytest.fixture
def settings(database_url, receiver):
    hosts = f"127.0.0.1:{receiver.port}"
    return Settings(database_url=database_url, max_body_bytes=3_000_000, webhook_hosts=hosts)


@pytest.fixture(autouse=True)
def _sends_when_asked(monkeypatch):
    """Keep the service of a test from sending by itself."""

    async def nothing(_):
        return None

    monkeypatch.setattr("api.services.webhooks.sender.Sender.run", nothing)


@pytest.fixture
def database(app_client):
    return app_client.app.state.database


@pytest.fixture
def hook(world: World, receiver):
    return make_webhook(world.larch.coach, world.larch.organisation_id, receiver.port)


@pytest.fixture
def held(world: World, hook):
    return held_trial(world.larch)


def only(database, hook):
    (row,) = deliveries_of(database, hook["id"])
    return row


def shown(world, hook):
    """Return the newest delivery as the API shows it."""
    return world.larch.coach.get(f"/v1/webhooks/{hook['id']}/deliveries").json()["items"][0]


class TestFailures:
    @pytest.mark.parametrize("status", [500, 404, 302, 308])
    def test_what_is_no_2xx_is_tried_again_and_never_followed(
        self, status, world, receiver, hook, held, database
    ):
        receiver.status, receiver.headers = status, {"Location": "/elsewhere"}
        before = later()
        send_due(database, receiver.port)
        assert [each.path for each in receiver.received] == ["/hook"]
        row = only(database, hook)
        assert (row.state, row.attempts, row.status_code) == ("pending", 1, status)
        assert timedelta(seconds=8) < row.due_at - before < timedelta(seconds=20)
        assert str(status) in shown(world, hook)["sentence"]

    def test_nobody_who_listens(self, world, receiver, database):
        hook = make_webhook(world.larch.coach, world.larch.organisation_id, receiver.port)
        held_trial(world.larch)
        with database.unit_of_work() as db:
            db.merge(webhook_of(database, hook["id"])).url = "http://127.0.0.1:9/hook"
        send_due(database, 9)
        assert "cannot be reached" in shown(world, hook)["sentence"]
        assert only(database, hook).fault == "unreachable"

    def test_a_host_that_the_operator_allows_no_longer(self, receiver, hook, held, database):
        send_due(database, receiver.port + 1)
        assert (receiver.received, only(database, hook).fault) == ([], "host")

    def test_a_slow_receiver_is_left_after_the_limit(
        self, receiver, hook, held, database, monkeypatch
    ):
        monkeypatch.setattr(
            "api.services.webhooks.sending.WebhookClient", partial(WebhookClient, 0.2)
        )
        receiver.delay_s = 0.6
        send_due(database, receiver.port)
        assert only(database, hook).fault == "timeout"

    def test_an_endless_answer_is_not_read(self, receiver, hook, held, database):
        receiver.status, receiver.headers = 200, {"X-Endless": "yes"}
        send_due(database, receiver.port)
        assert only(database, hook).state == "delivered"

    @pytest.mark.on_both
    def test_a_slow_receiver_holds_no_connection_and_no_writers_turn(
        self, world, receiver, hook, held, database
    ):
        checked_out = []

        def write_meanwhile():
            engines = database.write_engine, database.read_engine
            checked_out.append([each.pool.checkedout() for each in engines])
            with database.unit_of_work() as db:
                db.merge(webhook_of(database, hook["id"])).version += 1

        receiver.meanwhile = write_meanwhile
        send_due(database, receiver.port)
        assert checked_out == [[0, 0]]
        assert only(database, hook).state == "delivered"

    def test_retries_come_later_and_later_and_end(self, receiver, hook, held, database):
        receiver.status, now = 500, later(seconds=1)
        for wait in RETRY_AFTER_S:
            send_due(database, receiver.port, now)
            row = only(database, hook)
            assert abs((row.due_at - now).total_seconds() - wait) <= wait * attempts.JITTER
            send_due(database, receiver.port, row.due_at - timedelta(seconds=1))  # too early
            now = row.due_at
        send_due(database, receiver.port, now)
        row = only(database, hook)
        assert (row.state, row.attempts) == ("failed", len(RETRY_AFTER_S) + 1)
        assert row.ended_at == now
        assert len({each.headers["webhook-id"] for each in receiver.received}) == 1
        assert len(receiver.received) == row.attempts

    def test_a_receiver_says_when_to_come_again(self, receiver, hook, held, database):
        receiver.status, receiver.headers = 429, {"Retry-After": "7200"}
        send_due(database, receiver.port, now := later(seconds=1))
        assert (only(database, hook).due_at - now).total_seconds() >= 7199

    def test_a_receiver_that_is_gone_gets_no_more(self, world, receiver, hook, held, database):
        held_trial(world.larch, client_ref="second", pitch_deg=7.0)
        receiver.status = 410
        send_due(database, receiver.port)
        states = [row.state for row in deliveries_of(database, hook["id"])]
        assert sorted(states) == ["cancelled", "failed"]
        off = world.larch.coach.get(f"/v1/webhooks/{hook['id']}").json()
        assert (off["state"], "410" in off["reason"]) == ("off", True)
        held_trial(world.larch, client_ref="third", pitch_deg=9.0)
        assert len(deliveries_of(database, hook["id"])) == 2

    def test_after_days_without_a_delivery_it_is_off_until_a_test_arrives(
        self, world, receiver, hook, held, database
    ):
        row, start = only(database, hook), later()

        def fail(number, days):
            attempt = attempts.Attempt(row.id, hook["id"], "", "", b"", number)
            with database.unit_of_work() as db:
                attempts.settle(db, attempt, Outcome(500, "status"), start + timedelta(days=days))
            return webhook_of(database, hook["id"]).off_reason

        last = len(RETRY_AFTER_S) + 1
        assert [fail(1, 0), fail(last, OFF_AFTER_DAYS - 1), fail(2, OFF_AFTER_DAYS + 1)] == [
            None
        ] * 3
        assert fail(last, OFF_AFTER_DAYS) == "failing"
        path = f"/v1/webhooks/{hook['id']}"
        assert world.larch.coach.get(path).json()["state"] == "off"
        receiver.status = 500
        assert world.larch.coach.post(f"{path}/test").json()["delivered"] is False
        assert world.larch.coach.get(path).json()["state"] == "off"
        receiver.status = 200
        assert world.larch.coach.post(f"{path}/test").json()["delivered"] is True
        on = world.larch.coach.get(path).json()
        assert (on["state"], on["failing_since"]) == ("on", None)


class TestDeliveries:
    @pytest.mark.on_both
    def test_a_receivers_library_verifies_the_message(self, world, receiver, hook, held, database):
        send_due(database, receiver.port)
        (received,) = receiver.received
        message = received.verified(hook["secret"])
        assert message["type"] == "trial.needs_answer"
        WebhookMessage.model_validate(message, extra="forbid")
        assert message["data"]["path"] == f"/v1/trials/{held['id']}"
        row = only(database, hook)
        assert (row.id, row.state, row.fault) == (received.headers["webhook-id"], "delivered", None)
        listed = shown(world, hook)
        assert (listed["id"], listed["attempts"], listed["next_attempt_at"]) == (row.id, 1, None)

    def test_down_and_up_again(self, receiver, hook, held, database):
        receiver.status = 503
        send_due(database, receiver.port)
        assert webhook_of(database, hook["id"]).failing_since is not None
        receiver.status = 204
        send_due(database, receiver.port, later(minutes=1))
        first, second = receiver.received
        assert first.body == second.body
        assert first.headers["webhook-id"] == second.headers["webhook-id"]
        assert only(database, hook).state == "delivered"
        assert webhook_of(database, hook["id"]).failing_since is None

    @pytest.mark.on_both
    def test_two_senders_at_once_send_once(self, receiver, hook, held, database):
        receiver.delay_s = 0.2
        send_due(database, receiver.port, senders=3)
        assert (len(receiver.received), only(database, hook).attempts) == (1, 1)

    @pytest.mark.on_both
    def test_what_a_dead_sender_took_is_sent_after_its_lease(self, receiver, hook, held, database):
        now = later(seconds=1)
        with database.reading() as db:
            wanted = attempts.due(db, now, 8, [], {})
        with database.unit_of_work() as db:
            (taken,) = attempts.take(db, now, wanted)
        with database.unit_of_work() as db:
            assert attempts.take(db, now, wanted) == []
        send_due(database, receiver.port, now)
        assert receiver.received == []
        send_due(database, receiver.port, now + timedelta(seconds=LEASE_S))
        assert [each.headers["webhook-id"] for each in receiver.received] == [taken.message_id]
        with database.unit_of_work() as db:  # the dead one comes back: it changes nothing
            attempts.settle(db, taken, Outcome(500, "status"), now)
        assert only(database, hook).state == "delivered"

    def test_one_message_of_each_receiver_at_a_time(self, world, receiver, hook, held, database):
        held_trial(world.larch, client_ref="second", pitch_deg=7.0)
        programme = make_webhook(world.lead, None, receiver.port)
        held_trial(world.larch, client_ref="third", pitch_deg=9.0)
        now = later(seconds=1)
        with database.reading() as db:
            due = attempts.due(db, now, 8, [], {})
            assert sorted(each.webhook_id for each in due) == [hook["id"], programme["id"]]
            (left,) = attempts.due(db, now, 8, [hook["id"]], {})
            assert (left.webhook_id, attempts.due(db, now, 1, [], {})) == (programme["id"], due[:1])

    @pytest.mark.on_both
    def test_many_messages_of_one_school_do_not_hold_up_those_of_others(
        self, world, receiver, hook, database
    ):
        rows = [
            {"thing_id": f"imp_{number}", "webhook_id": hook["id"], "kind": "import.stored",
             "id": f"msg_{number}", "as_typed": {}, "data": {"path": "/"}, "due_at": later()}
            for number in range(300)
        ]  # fmt: skip
        with database.unit_of_work() as db:
            db.add_all(WebhookDelivery(**row) for row in rows)
        birch = world.birch
        other = make_webhook(birch.coach, birch.organisation_id, receiver.port)
        held_trial(birch)
        with database.reading() as db:
            first = attempts.due(db, later(seconds=1), 1, [], {hook["id"]: 1})
            assert [each.webhook_id for each in first] == [other["id"]]
            first = attempts.due(db, later(seconds=1), 1, [], {hook["id"]: 1, other["id"]: 2})
            assert [(each.webhook_id, each.message_id) for each in first] == [(hook["id"], "msg_0")]

    @pytest.mark.on_both
    def test_old_deliveries_are_deleted(self, hook, held, database):
        with database.unit_of_work() as db:
            assert attempts.forget(db, later(days=29)) == 0
        with database.unit_of_work() as db:
            assert attempts.forget(db, later(days=31)) == 1


class TestTrying:
    def test_what_came_back_is_shown_without_the_receivers_words(self, world, receiver, hook):
        receiver.status, receiver.headers = 418, {"X-Secret": "of the inner network"}
        tested = world.larch.coach.post(f"/v1/webhooks/{hook['id']}/test")
        answer = tested.json()
        assert (tested.status_code, answer["delivered"], answer["status_code"]) == (200, False, 418)
        assert "inner network" not in tested.text
        (received,) = receiver.received
        assert received.verified(hook["secret"])["type"] == "webhook.test"
        assert received.headers["webhook-id"] == answer["message_id"]

    def test_many_of_one_key_do_not_hold_up_another(self, world, receiver, hook):
        birch, many = world.birch, 12
        other = make_webhook(birch.coach, birch.organisation_id, receiver.port)
        receiver.delay_s = 0.1
        with ThreadPoolExecutor(many) as crowd:
            for _ in range(many):
                crowd.submit(world.larch.coach.post, f"/v1/webhooks/{hook['id']}/test")
            receiver.wait_for(1)
            assert birch.coach.post(f"/v1/webhooks/{other['id']}/test").json()["delivered"]
            assert len(receiver.received) < many / 2

    def test_nothing_is_stored_of_it(self, world, receiver, hook, database):
        world.larch.coach.post(f"/v1/webhooks/{hook['id']}/test")
        assert deliveries_of(database, hook["id"]) == []
