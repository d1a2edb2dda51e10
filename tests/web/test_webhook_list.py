"""The keys page lists webhooks, without the secret parts of their addresses."""

import pytest

from api.settings import Settings
from tests.support.webhooks import make_webhook

PORT = 8765


@pytest.fixture
def settings(database_url):
    return Settings(
        database_url=database_url, max_body_bytes=3_000_000, webhook_hosts=f"127.0.0.1:{PORT}"
    )


def test_a_webhook_is_listed_and_removed(world, visiting):
    for school in (world.larch, world.birch):
        world.lead.delete(f"/v1/webhooks/{school.webhook_id}")
    lead = visiting(world.lead_key)
    assert "Webhooks" not in lead.get("/keys").text
    url = f"http://127.0.0.1:{PORT}/hook/secret-word"
    made = make_webhook(world.lead, None, PORT, url=url, kinds=["event.result"])
    page = lead.get("/keys").text
    assert all(words in page for words in ("Webhooks", f"127.0.0.1:{PORT}", "all schools",
                                           "an event has a result"))  # fmt: skip
    assert all(words not in page for words in ("secret-word", made["secret"]))
    lead.post(f"/webhooks/{made['id']}/remove")
    assert world.lead.get(f"/v1/webhooks/{made['id']}").status_code == 404
