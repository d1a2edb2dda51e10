"""Make webhooks in tests, read what they are to send, and send it at a time of the test's own."""

from datetime import UTC, datetime, timedelta

import anyio
from sqlmodel import col, select

from api.db import Database
from api.models.webhooks.deliveries import WebhookDelivery
from api.models.webhooks.webhooks import Webhook
from api.services.webhooks.sender import Sender
from api.services.webhooks.sending import Webhooks
from api.webhook_hosts import read_hosts
from tests.support.makers import School, created, trial_payload, webhook_payload


def make_webhook(client, organisation_id, port, **changed):
    """Make a webhook; return the answer, with its secret."""
    asked = webhook_payload(organisation_id, port, **changed)
    return created(client.post("/v1/webhooks", json=asked))


def held_trial(school: School, **changed):
    """Submit a trial whose readings contradict each other; return it."""
    runs = [{"voltage_v": 1.2}, {"voltage_v": 1.9}]
    trial = created(
        school.coach.post("/v1/trials", json=trial_payload(school, runs=runs, **changed))
    )
    assert trial["state"] == "held", trial["flags"]
    return trial


def deliveries_of(database: Database, webhook_id=None) -> list[WebhookDelivery]:
    """Return the stored deliveries, of one webhook if it is named, oldest first."""
    wanted = select(WebhookDelivery).order_by(col(WebhookDelivery.id))
    if webhook_id:
        wanted = wanted.where(col(WebhookDelivery.webhook_id) == webhook_id)
    with database.reading() as db:
        return list(db.scalars(wanted))


def webhook_of(database: Database, webhook_id) -> Webhook:
    with database.reading() as db:
        return db.get_one(Webhook, webhook_id)


def later(**time):
    return datetime.now(UTC) + timedelta(**time)


def send_due(database: Database, port, now=None, senders=1):
    """Send once what is due at a time, by one or several senders at once."""

    async def scene():
        webhooks = [Webhooks(read_hosts(f"127.0.0.1:{port}")) for _ in range(senders)]
        async with anyio.create_task_group() as tasks:
            for each in webhooks:
                sender = Sender(
                    database, anyio.Semaphore(1), each, now=lambda: now or later(seconds=1)
                )
                tasks.start_soon(sender.send_due, tasks)
        for each in webhooks:
            await each.client.close()

    anyio.run(scene)
