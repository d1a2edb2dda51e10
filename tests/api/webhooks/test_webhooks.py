"""Webhooks: who may make, see and remove them, and to which addresses."""

import pytest

from api.services.operations.erasing import erase_season
from api.services.operations.erasing_schools import erase_organisation
from api.services.webhooks.webhooks import MOST
from api.settings import Settings
from tests.support.makers import World, created, webhook_payload
from tests.support.webhooks import deliveries_of, held_trial, make_webhook, webhook_of

PORT = 8765


@pytest.fixture
def settings(database_url):
    hosts = f"127.0.0.1:{PORT}, hooks.example"
    return Settings(database_url=database_url, max_body_bytes=3_000_000, webhook_hosts=hosts)


def refused(client, school, **changed):
    answer = client.post("/v1/webhooks", json=webhook_payload(school, PORT, **changed))
    assert answer.headers["content-type"] == "application/problem+json"
    return answer.status_code, answer.json()


class TestRefusals:
    @pytest.mark.parametrize(
        ("changed", "code", "pointer"),
        [
            pytest.param({"url": "https://other.example/"}, "webhook_host", "/url", id="host"),
            pytest.param({"url": "https://hooks.example:22/"}, "webhook_host", "/url", id="port"),
            pytest.param({"url": "http://hooks.example/"}, "webhook_https", "/url", id="http"),
            pytest.param({"url": "https://a:b@hooks.example/"}, "webhook_url", "/url", id="user"),
            pytest.param({"url": f"http://127.0.0.1:{PORT}#x"}, "webhook_url", "/url", id="part"),
            pytest.param({"url": "https://hooks.example/" + "x" * 500}, "string_too_long", "/url",
                         id="long"),
            pytest.param({"kinds": ["trial.stored"]}, "literal_error", "/kinds/0", id="kind"),
            pytest.param({"kinds": []}, "too_short", "/kinds", id="no kind"),
            pytest.param({"secret": "whsec_AAAA"}, "unknown_field", "/secret", id="own secret"),
        ],
    )  # fmt: skip
    def test_what_is_wrong_is_named(self, changed, code, pointer, world: World):
        status, problem = refused(world.larch.coach, world.larch.organisation_id, **changed)
        (error,) = problem["errors"]
        assert (status, error["code"], error["pointer"]) == (422, code, pointer), problem

    def test_a_coach_makes_none_for_all_schools_or_another(self, world: World):
        assert refused(world.larch.coach, None)[0] == 403
        assert refused(world.larch.coach, world.birch.organisation_id)[0] == 404
        assert refused(world.larch.reader, world.larch.organisation_id)[0] == 403

    @pytest.mark.on_both
    def test_no_more_than_ten_for_a_school(self, world: World):
        for _ in range(MOST - 1):  # the world's school has one
            make_webhook(world.larch.coach, world.larch.organisation_id, PORT)
        status, problem = refused(world.lead, world.larch.organisation_id)
        assert (status, str(MOST) in problem["detail"]) == (409, True)
        make_webhook(world.lead, world.birch.organisation_id, PORT)
        for _ in range(MOST):
            make_webhook(world.lead, None, PORT)
        assert refused(world.lead, None)[0] == 409

    def test_a_programmes_webhook_is_hidden_from_coaches(self, world: World):
        made = make_webhook(world.lead, None, PORT)
        assert world.larch.coach.get(f"/v1/webhooks/{made['id']}").status_code == 404
        assert world.larch.coach.delete(f"/v1/webhooks/{made['id']}").status_code == 404
        assert made["id"] not in world.larch.coach.get("/v1/webhooks").text
        assert made["id"] in world.lead.get("/v1/webhooks").text

    def test_a_key_sends_so_many_test_messages_a_day(self, world: World, app_client):
        app_client.app.state.limits._per_day["webhook_tests"] = 1
        tests = f"/v1/webhooks/{world.larch.webhook_id}/test"
        answers = [world.larch.coach.post(tests).status_code for _ in range(2)]
        assert answers == [422, 429]  # the world's webhook calls another port


@pytest.mark.on_both
class TestMaking:
    def test_the_secret_is_shown_once(self, world: World):
        headers = {"Idempotency-Key": "hook"}
        asked = webhook_payload(world.larch.organisation_id, PORT)
        first, again = (world.larch.coach.post("/v1/webhooks", json=asked, headers=headers)
                        for _ in range(2))  # fmt: skip
        made = created(first)
        assert made["secret"].startswith("whsec_")
        assert created(again)["id"] == made["id"]
        for shown in (again, world.larch.coach.get(f"/v1/webhooks/{made['id']}"),
                      world.lead.get("/v1/webhooks"), world.lead.get("/v1/audit")):  # fmt: skip
            assert made["secret"] not in shown.text
        assert (made["state"], made["reason"]) == ("on", None)

    def test_its_making_and_removal_are_in_the_audit_log(self, world: World, app_client):
        made = make_webhook(world.larch.coach, world.larch.organisation_id, PORT)
        held_trial(world.larch)
        database = app_client.app.state.database
        assert len(deliveries_of(database, made["id"])) == 1
        assert world.larch.coach.delete(f"/v1/webhooks/{made['id']}").status_code == 204
        assert world.larch.coach.delete(f"/v1/webhooks/{made['id']}").status_code == 404
        assert deliveries_of(database, made["id"]) == []
        entries = world.lead.get("/v1/audit?limit=200&thing=webhook").json()["items"]
        assert [entry["action"] for entry in entries if entry["thing_id"] == made["id"]] == [
            "created", "removed"
        ]  # fmt: skip

    def test_an_erased_school_has_none(self, world: World, app_client):
        theirs = make_webhook(world.birch.coach, world.birch.organisation_id, PORT)
        mine = make_webhook(world.larch.coach, world.larch.organisation_id, PORT)
        programme = make_webhook(world.lead, None, PORT)
        held_trial(world.larch)
        held_trial(world.birch)
        database = app_client.app.state.database
        assert len(deliveries_of(database, programme["id"])) == 2
        with database.unit_of_work() as db:
            erase_organisation(db, world.larch.organisation_id)
        listed = world.lead.get("/v1/webhooks?limit=200").text
        assert [each["id"] in listed for each in (mine, theirs, programme)] == [False, True, True]
        (row,) = deliveries_of(database, programme["id"])
        assert row.organisation_id == world.birch.organisation_id

    def test_an_erased_season_leaves_no_deliveries(self, world: World, app_client):
        hook = make_webhook(world.lead, None, PORT)
        held_trial(world.larch)
        database = app_client.app.state.database
        assert len(deliveries_of(database, hook["id"])) == 1
        with database.unit_of_work() as db:
            erase_season(db, world.season_id)
        assert deliveries_of(database) == []

    def test_it_ends_with_the_key_that_made_it(self, world: World, app_client):
        made = make_webhook(world.larch.coach, world.larch.organisation_id, PORT)
        key = f"/v1/keys/{world.larch.key_id}"
        world.lead.patch(key, json={"revoked": True}, headers={"If-Match": "*"})
        shown = world.lead.get(f"/v1/webhooks/{made['id']}").json()
        assert (shown["state"], "key" in shown["reason"]) == ("off", True)
        assert webhook_of(app_client.app.state.database, made["id"]).switched_off_at is None
