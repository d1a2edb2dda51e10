"""Trials are stored on the phone without a network, and sent when there is one."""

import json

from playwright.sync_api import expect

from tests.support.makers import build_payload, created
from tests.support.trial_form import (
    fill_trial,
    new_trial,
    stored_of,
    trials_of,
    wait_for_kept_form,
)


def send_and_lose_the_answer(phone):
    """Send a trial that the server gets and stores, while its answer is lost on the way."""
    phone.route("**/trials/new", lambda route: (route.fetch(), route.abort()))
    phone.get_by_role("button", name="Send").click()
    expect(phone.get_by_role("status")).to_contain_text("Saved on this phone")


class TestWithoutANetwork:
    def test_a_trial_waits_on_the_phone_and_is_sent_once(self, phone, world):
        new_trial(phone, world)
        fill_trial(phone, "1,11", "1,12", "1,13")
        phone.get_by_text("More, if you know it").click()
        phone.get_by_label("Note").fill("a secret note")
        before = trials_of(world)
        phone.context.set_offline(True)
        phone.get_by_role("button", name="Send").click()
        expect(phone.get_by_role("status")).to_contain_text("Saved on this phone")
        stored = phone.evaluate("JSON.stringify(Object.values(localStorage))")
        assert "1,11" in stored
        assert "secret" not in stored
        phone.context.set_offline(False)
        expect(phone.get_by_role("status")).to_contain_text(
            "Trials sent from this phone: 1", timeout=20_000
        )
        assert trials_of(world) == before + 1
        phone.get_by_role("status").get_by_role("link").click()
        expect(phone.locator("dl.facts").first).to_contain_text("1.11 V")
        unsent = [json.loads(each) for each in phone.evaluate("Object.values(localStorage)")]
        assert unsent == [[]]

    def test_what_was_sent_before_the_network_broke_is_not_doubled(self, phone, world):
        new_trial(phone, world)
        fill_trial(phone, "1,14", "1,15", "1,16")
        before = trials_of(world)
        send_and_lose_the_answer(phone)
        phone.unroute("**/trials/new")
        phone.reload()
        expect(phone.get_by_role("status")).to_contain_text("Trials sent from this phone: 1")
        assert trials_of(world) == before + 1

    def test_a_draft_is_there_again_after_a_reload(self, phone, world):
        phone.goto("/trials/new")
        phone.get_by_label("Reading 1").fill("1,17")
        phone.reload()
        assert phone.get_by_label("Reading 1").input_value() == "1,17"
        expect(phone.get_by_role("status")).to_contain_text("saved on this phone")


def second_build(world):
    """Register another team with a build, and return the build."""
    fields = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
    team = created(
        world.larch.coach.post("/v1/teams", json=fields | {"name": f"Team {id(fields)}"})
    )
    machine = {"team_id": team["id"], "name": "Other turbine"}
    turbine = created(world.larch.coach.post("/v1/turbines", json=machine))
    return created(world.larch.coach.post("/v1/builds", json=build_payload(turbine["id"])))["id"]


class TestTheUnsentList:
    def save_offline(self, phone, world, build_id, *volts):
        phone.get_by_label("Session").select_option(world.larch.session_id)
        phone.get_by_label("Build").select_option(build_id)
        fill_trial(phone, *volts)
        phone.get_by_role("button", name="Send").click()
        expect(phone.get_by_role("button", name="Send")).to_be_enabled()  # given up, and saved

    def test_two_teams_trials_are_both_kept_counted_and_sent_once(self, phone, world):
        other = second_build(world)
        phone.goto("/trials/new")
        before = {build: stored_of(world, build) for build in (world.larch.build_id, other)}
        phone.context.set_offline(True)
        self.save_offline(phone, world, world.larch.build_id, "1,51", "1,52", "1,53")
        expect(phone.locator("#unsent li")).to_have_count(1)
        self.save_offline(phone, world, other, "0,61", "0,62", "0,63")
        expect(phone.locator("#unsent li")).to_have_count(2)
        expect(phone.locator("#unsent-count")).to_have_text("Not sent: 2")
        phone.context.set_offline(False)
        phone.goto("/schools")
        expect(phone.locator("#unsent-count")).to_be_hidden(timeout=25_000)
        assert {build: stored_of(world, build) for build in before} == {
            build: many + 1 for build, many in before.items()
        }

    def test_what_is_being_corrected_does_not_go_as_it_was(self, phone, world):
        phone.goto("/trials/new")
        before = trials_of(world)
        phone.context.set_offline(True)
        self.save_offline(phone, world, world.larch.build_id, "1,31", "1,32", "1,33")
        phone.locator("#unsent li").get_by_role("button", name="Correct").click()
        expect(phone.locator("#unsent li")).to_contain_text("You are correcting this trial")
        phone.context.set_offline(False)
        phone.wait_for_timeout(2_000)
        assert trials_of(world) == before
        phone.get_by_label("Reading 1").fill("1,34")
        phone.get_by_role("button", name="Send").click()
        phone.wait_for_url("**/trials/trl_*")
        assert trials_of(world) == before + 1
        expect(phone.locator("dl.facts").first).to_contain_text("1.34 V")
        expect(phone.locator("#unsent-count")).to_be_hidden()

    def test_a_correction_of_what_had_arrived_leads_to_what_is_stored(self, phone, world):
        new_trial(phone, world)
        fill_trial(phone, "1,26", "1,27", "1,28")
        before = trials_of(world)
        send_and_lose_the_answer(phone)
        phone.locator("#unsent li").get_by_role("button", name="Correct").click()
        phone.unroute("**/trials/new")
        phone.get_by_label("Reading 1").fill("1,29")
        phone.get_by_role("button", name="Send").click()
        phone.wait_for_url("**/correct?sent=before")
        expect(phone.get_by_role("status")).to_contain_text("had reached the service")
        assert phone.get_by_label("Reading 1").input_value() == "1.26"
        assert trials_of(world) == before + 1

    def test_what_was_left_uncorrected_waits_again_and_goes(self, phone, world):
        phone.goto("/trials/new")
        before = trials_of(world)
        phone.context.set_offline(True)
        self.save_offline(phone, world, world.larch.build_id, "1,35", "1,36", "1,37")
        phone.locator("#unsent li").get_by_role("button", name="Correct").click()
        phone.context.set_offline(False)
        phone.goto("/trials/new")
        expect(phone.get_by_role("status")).to_contain_text("Trials sent from this phone: 1")
        assert trials_of(world) == before + 1

    def test_any_page_sends_what_waits_and_says_so(self, phone, world):
        phone.goto("/trials/new")
        before = trials_of(world)
        phone.context.set_offline(True)
        self.save_offline(phone, world, world.larch.build_id, "1,45", "1,46", "0,147")
        phone.goto("/account")
        expect(phone.get_by_text("Not sent: 1")).to_be_visible()
        phone.context.set_offline(False)  # the page that stood in for /account loads again
        body = phone.get_by_role("status")
        expect(body).to_contain_text("Trials sent from this phone: 1", timeout=15_000)
        expect(body).to_contain_text("needing your answer: 1")
        assert trials_of(world) == before + 1

    def test_a_page_goes_on_by_itself_when_the_service_is_back(self, phone, service):
        phone.goto("/today")
        wait_for_kept_form(phone)
        service.kill()
        try:
            phone.goto("/account")
            expect(phone.get_by_role("heading", name="No network")).to_be_visible()
        finally:
            service.start()
        expect(phone.get_by_role("heading", name="Account")).to_be_visible(timeout=15_000)

    def test_another_build_brings_its_own_pitch_and_load(self, phone, world):
        fields = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
        team = created(world.larch.coach.post("/v1/teams", json=fields | {"name": "Osprey"}))
        machine = {"team_id": team["id"], "name": "Turbine"}
        turbine = created(world.larch.coach.post("/v1/turbines", json=machine))
        facts = build_payload(turbine["id"], pitch_deg=15, load_ohm=33)
        other = created(world.larch.coach.post("/v1/builds", json=facts))["id"]
        phone.goto(f"/trials/new?build_id={world.larch.build_id}")
        phone.get_by_label("The load was connected").check()
        phone.get_by_label("Build").select_option(other)
        assert phone.get_by_label("Blade pitch").first.input_value() == "15"
        assert phone.get_by_label("Load resistor").input_value() == "33"
        assert not phone.get_by_label("The load was connected").is_checked()
        phone.get_by_label("Load resistor").fill("47")
        phone.get_by_label("Build").select_option(world.larch.build_id)
        assert phone.get_by_label("Load resistor").input_value() == "47"

    def test_what_is_beyond_a_limit_is_not_kept_but_marked(self, phone, world):
        phone.goto("/trials/new")
        phone.context.set_offline(True)
        self.save_offline(phone, world, world.larch.build_id, "120", "1,2", "x")
        expect(phone.locator("#e-voltage_1")).to_contain_text("-60 – 60")
        expect(phone.locator("#e-voltage_3")).to_contain_text("is not a number")
        expect(phone.locator("#unsent li")).to_have_count(0)
        assert phone.get_by_label("Reading 2").input_value() == "1,2"
        phone.get_by_label("Load resistor").fill("1,200")
        fill_trial(phone, "1,2", "1,21", "1,22", load="1,200")
        phone.get_by_role("button", name="Send").click()
        expect(phone.locator("#e-load_ohm")).to_contain_text("1.2 / 1200")
        phone.context.set_offline(False)

    def test_what_the_service_refuses_stays_with_its_reason_and_is_corrected(self, phone, world):
        phone.goto("/trials/new")
        before = trials_of(world)
        phone.context.set_offline(True)
        phone.get_by_label("Kind").select_option("reference")
        self.save_offline(phone, world, world.larch.build_id, "1,71", "1,72", "1,73")
        phone.context.set_offline(False)
        entry = phone.locator("#unsent li")
        expect(entry).to_contain_text("The service did not accept it", timeout=20_000)
        expect(entry).to_contain_text("reference rotor")
        phone.reload()
        expect(entry).to_contain_text("1,71 V")
        entry.get_by_role("button", name="Correct").click()
        assert phone.get_by_label("Reading 1").input_value() == "1,71"
        phone.get_by_label("Kind").select_option("record")
        phone.get_by_role("button", name="Send").click()
        phone.wait_for_url("**/trials/trl_*")
        assert trials_of(world) == before + 1
        expect(phone.locator("#unsent-count")).to_be_hidden()

    def test_a_draft_gives_way_to_the_next_teams_without_being_lost(self, phone, world):
        other = second_build(world)
        phone.goto(f"/trials/new?build_id={world.larch.build_id}")
        phone.get_by_label("Reading 1").fill("1,81")
        phone.goto(f"/trials/new?build_id={other}")
        assert phone.get_by_label("Reading 1").input_value() == ""
        phone.get_by_label("Reading 1").fill("0,5")
        expect(phone.locator("#unsent li")).to_contain_text("1,81 V")
        entry = phone.locator("#unsent li")
        entry.get_by_role("button", name="Delete").click()
        entry.get_by_role("button", name="Really delete").click()
        expect(entry).to_have_count(0)
        assert phone.get_by_label("Reading 1").input_value() == "0,5"

    def test_the_form_opens_again_without_a_network(self, phone, world):
        phone.goto("/today")
        wait_for_kept_form(phone)
        before = trials_of(world)
        phone.context.set_offline(True)
        phone.goto(f"/trials/new?build_id={world.larch.build_id}")
        assert phone.get_by_label("Build").input_value() == world.larch.build_id
        style = phone.evaluate("getComputedStyle(document.querySelector('.bar')).display")
        assert style == "flex"
        self.save_offline(phone, world, world.larch.build_id, "1,91", "1,92", "1,93")
        phone.goto("/schools")
        expect(phone.get_by_role("heading", level=1)).to_have_text("No network")
        phone.get_by_role("link", name="New trial").click()
        expect(phone.locator("#unsent li")).to_contain_text("1,91 V")
        phone.context.set_offline(False)
        expect(phone.locator("#unsent li")).to_have_count(0, timeout=25_000)
        assert trials_of(world) == before + 1

    def test_signing_out_leaves_no_form_on_the_phone(self, phone):
        phone.goto("/today")
        wait_for_kept_form(phone)
        phone.goto("/account")
        phone.get_by_role("button", name="Sign out", exact=False).first.click()
        phone.wait_for_url("**/sign-in")
        assert phone.evaluate("caches.match('/trials/new').then(Boolean)") is False
