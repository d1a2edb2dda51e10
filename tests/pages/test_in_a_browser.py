"""A coach's day in a real Chromium on a real server: phone, keyboard, no script, no network."""

import json
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.makers import build_payload, created, make_world, trial_payload
from tests.pages.browsers import LAPTOP, PHONE, launched, sign_in, visiting
from tests.pages.page_table import TABLE
from tests.pages.test_who_sees_pages import ROUTES
from tests.service import Service

MOST_BYTES = 100 * 1024  # of a page without its plots
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
CSV = (
    "team;build;bench;session_started_at;client_ref;load_ohm;load_connected;voltage_v;"
    "wind_speed_m_s;adult_present\n"
    "Larch one;1;Larch hall;2026-03-12 14:30;sheet-1;30,1;yes;1,20;4,2;yes\n"
    "Larch one;1;Larch hall;2026-03-12 14:30;sheet-2;30,1;yes;1,l9;4,2;yes\n"
)


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    running = Service(tmp_path_factory.mktemp("browser"))
    yield running
    running.kill()


@pytest.fixture(scope="module")
def world(service):
    told = service.run("-m", "api", "key", "create", "--role", "lead", "--label", "Lead")
    clients = {}

    def signed(key):
        return clients.setdefault(key, service.client(key))

    yield make_world(told.stdout.strip(), signed).signed_in(signed)
    for client in clients.values():
        client.close()


@pytest.fixture(scope="module")
def browser():
    with launched() as running:
        yield running


@pytest.fixture
def phone(browser, service, world):
    """Return a coach's phone, signed in."""
    with visiting(browser, service, viewport=PHONE, has_touch=True) as page:
        sign_in(page, world.larch.coach_key)
        yield page


def trials_of(world):
    items = world.lead.get(
        "/v1/trials", params={"build_id": world.larch.build_id, "limit": 200}
    ).json()["items"]
    return len(items)


def fill_trial(page, *volts, load="30,1"):
    """Fill the form as at the bench, with commas."""
    page.get_by_label("Load resistor").fill(load)
    page.get_by_label("The load was connected").check()
    for at, each in enumerate(volts, start=1):
        page.get_by_label(f"Reading {at}").fill(each)


def new_trial(page, world):
    page.goto(f"/trials/new?build_id={world.larch.build_id}&session_id={world.larch.session_id}")


class TestAtTheBench:
    def test_a_trial_its_result_and_the_next_run(self, phone, world):
        phone.get_by_role("link", name="Enter a trial").click()
        phone.get_by_label("Session").select_option(world.larch.session_id)
        phone.get_by_label("Build").select_option(world.larch.build_id)
        fill_trial(phone, "1,20", "1.19", "1,21")
        phone.get_by_role("button", name="Send").click()
        expect(phone.get_by_role("heading", level=1)).to_contain_text(
            "Trial of Larch one: Whirl, build 1"
        )
        told = phone.locator(".verdict").inner_text()
        # The worked example: 1.2 V over 30.1 ohm are 47.8 mW; beside it stand span and cube rule.
        assert "47.8 mW" in told
        assert re.search(r"would be \d+ mW \(\d+ to \d+\)", told)
        assert "cube rule" in told
        phone.get_by_role("link", name="Next run").click()
        assert phone.get_by_label("Session").input_value() == world.larch.session_id
        assert phone.get_by_label("Build").input_value() == world.larch.build_id
        assert phone.get_by_label("Load resistor").input_value() == "30.1"
        assert phone.get_by_label("The load was connected").is_checked()
        assert phone.get_by_label("Reading 1").input_value() == ""

    def test_what_is_wrong_stands_beside_its_field(self, phone, world):
        new_trial(phone, world)
        fill_trial(phone, "1,2O", load="1.000,5")
        phone.get_by_role("button", name="Send").click()
        alert = phone.get_by_role("alert")
        expect(alert).to_contain_text("Was 1,20 meant (a letter was typed for a digit)?")
        expect(alert).to_contain_text("Write numbers without a sign between thousands.")
        assert phone.evaluate("document.activeElement.id") == "trouble"
        assert phone.get_by_label("Reading 1").input_value() == "1,2O"
        assert phone.get_by_label("Reading 1").get_attribute("aria-invalid") == "true"

    def test_a_doubt_is_answered_in_place(self, phone, world):
        new_trial(phone, world)
        fill_trial(phone, "1,2", "12", "1,2")
        phone.get_by_role("button", name="Send").click()
        expect(phone.locator(".verdict")).to_contain_text("not counted yet")
        question = phone.locator(".question.hold").first
        question.get_by_label("Reason").fill("the decimal point was misread")
        question.get_by_text("Withdraw the trial", exact=True).click()
        question.get_by_role("button", name="Yes, withdraw it").click()
        expect(phone.locator(".verdict")).to_contain_text("Withdrawn")
        phone.get_by_text("What was done").click()
        expect(phone.locator(".history")).to_contain_text("the decimal point was misread")

    def test_a_double_tap_stores_one(self, phone, world):
        new_trial(phone, world)
        fill_trial(phone, "1,23", "1,22", "1,24")
        before = trials_of(world)
        phone.get_by_role("button", name="Send").dblclick()
        phone.wait_for_url("**/trials/trl_*")
        assert trials_of(world) == before + 1

    def test_a_correction_keeps_what_stood(self, phone, world):
        trial = created(
            world.larch.coach.post("/v1/trials", json=trial_payload(world.larch, client_ref="c-1"))
        )
        phone.goto(f"/trials/{trial['id']}/correct")
        phone.get_by_label("Load resistor").fill("22")
        phone.get_by_label("Reason").fill("the resistor was misread")
        phone.get_by_role("button", name="Save the correction").click()
        expect(phone.locator("dl.facts").first).to_contain_text("22")
        phone.get_by_text("What was done").click()
        expect(phone.locator(".history")).to_contain_text(
            "Load resistor, as measured (Ω): 30.1 → 22.0"
        )


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
        kept = phone.evaluate("JSON.stringify(Object.values(localStorage))")
        assert "1,11" in kept
        assert "secret" not in kept
        phone.context.set_offline(False)
        expect(phone.get_by_role("status")).to_contain_text(
            "Trials sent from this phone: 1", timeout=20_000
        )
        assert trials_of(world) == before + 1
        phone.get_by_role("status").get_by_role("link").click()
        expect(phone.locator("dl.facts").first).to_contain_text("1.11 V")
        waiting = [json.loads(each) for each in phone.evaluate("Object.values(localStorage)")]
        assert waiting == [[]]

    def test_what_was_sent_before_the_network_broke_is_not_doubled(self, phone, world):
        new_trial(phone, world)
        fill_trial(phone, "1,14", "1,15", "1,16")
        before = trials_of(world)
        # The server gets the trial and stores it; its answer is lost on the way.
        phone.route("**/trials/new", lambda route: (route.fetch(), route.abort()))
        phone.get_by_role("button", name="Send").click()
        expect(phone.get_by_role("status")).to_contain_text("Saved on this phone")
        phone.unroute("**/trials/new")
        phone.reload()
        expect(phone.get_by_role("status")).to_contain_text("Trials sent from this phone: 1")
        assert trials_of(world) == before + 1

    def test_a_draft_is_there_again_after_a_reload(self, phone, world):
        phone.goto("/trials/new")
        phone.get_by_label("Reading 1").fill("1,17")
        phone.reload()
        assert phone.get_by_label("Reading 1").input_value() == "1,17"
        expect(phone.get_by_role("status")).to_contain_text("kept on this phone")


def second_build(world):
    """Register another team with a build, and return the build."""
    told = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
    team = created(world.larch.coach.post("/v1/teams", json=told | {"name": f"Team {id(told)}"}))
    machine = {"team_id": team["id"], "name": "Other turbine"}
    turbine = created(world.larch.coach.post("/v1/turbines", json=machine))
    return created(world.larch.coach.post("/v1/builds", json=build_payload(turbine["id"])))["id"]


class TestTheUnsentList:
    def save_offline(self, phone, world, build_id, *volts):
        phone.get_by_label("Session").select_option(world.larch.session_id)
        phone.get_by_label("Build").select_option(build_id)
        fill_trial(phone, *volts)
        phone.get_by_role("button", name="Send").click()

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
        phone.route("**/trials/new", lambda route: (route.fetch(), route.abort()))
        phone.get_by_role("button", name="Send").click()
        expect(phone.get_by_role("status")).to_contain_text("Saved on this phone")
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
        phone.context.set_offline(False)
        phone.goto("/account")
        told = phone.get_by_role("status")
        expect(told).to_contain_text("Trials sent from this phone: 1", timeout=5_000)
        expect(told).to_contain_text("waiting for your answer: 1")
        assert trials_of(world) == before + 1

    def test_another_build_brings_its_own_pitch_and_load(self, phone, world):
        told = {"organisation_id": world.larch.organisation_id, "season_id": world.season_id}
        team = created(world.larch.coach.post("/v1/teams", json=told | {"name": "Osprey"}))
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


class TestSending:
    def test_enter_goes_on_to_the_next_field_and_stores_nothing(self, phone, world):
        new_trial(phone, world)
        before = trials_of(world)
        phone.get_by_label("Reading 1").fill("1,2")
        phone.get_by_label("Reading 1").press("Enter")
        assert phone.evaluate("document.activeElement.id") == "f-voltage_2"
        assert "/trials/new" in phone.url
        assert trials_of(world) == before

    def test_nor_does_it_without_a_script(self, browser, service, world):
        off = {"viewport": PHONE, "java_script_enabled": False}
        with visiting(browser, service, **off) as page:
            sign_in(page, world.larch.coach_key)
            new_trial(page, world)
            before = trials_of(world)
            page.get_by_label("Reading 1").fill("1,2")
            page.get_by_label("Reading 1").press("Enter")
            page.wait_for_timeout(300)
            assert "/trials/new" in page.url
            assert trials_of(world) == before

    def test_on_a_slow_link_it_shows_that_it_works_and_cannot_be_pressed_again(self, phone, world):
        new_trial(phone, world)
        fill_trial(phone, "1,31", "1,32", "1,33")
        before = trials_of(world)

        def slowly(route):
            phone.wait_for_timeout(1500)
            route.continue_()

        phone.route("**/trials/new", slowly)
        phone.locator("button.main").click()
        expect(phone.locator("button.main")).to_have_text("Sending …")
        expect(phone.locator("button.main")).to_be_disabled()
        phone.wait_for_url("**/trials/trl_*")
        assert trials_of(world) == before + 1


def wait_for_kept_form(page):
    """Wait until the service worker has kept the trial form."""
    for _ in range(100):
        if page.evaluate("caches.match('/trials/new').then(Boolean)"):
            return
        page.wait_for_timeout(100)
    raise AssertionError("the trial form was not kept")


def stored_of(world, build_id):
    asked = {"build_id": build_id, "limit": 200}
    return len(world.lead.get("/v1/trials", params=asked).json()["items"])


class TestFromASpreadsheet:
    def test_errors_by_cell_mended_stored_and_undone(self, phone, world):
        before = trials_of(world)
        phone.goto("/imports")
        phone.get_by_label("Or paste cells").fill(CSV.replace(";", "\t"))
        phone.get_by_role("button", name="Look at it").click()
        expect(phone.get_by_role("alert")).to_contain_text("Nothing is stored yet")
        row = phone.locator("tr.error")
        expect(row).to_contain_text("Row 3")
        expect(row).to_contain_text("voltage_v")
        assert row.get_by_label("Row 3, voltage_v").input_value() == "1,l9"
        phone.get_by_label("Row 3, voltage_v").fill("1,19")
        phone.get_by_role("button", name="Look again").click()
        expect(phone.locator(".told").first).to_contain_text("New rows: 2")
        assert trials_of(world) == before
        looked = phone.get_by_label("I have looked at what is odd")
        if looked.count():
            looked.check()
        phone.get_by_role("button", name="Store it").click()
        expect(phone.locator(".told")).to_contain_text("New rows: 2")
        assert trials_of(world) == before + 2
        phone.get_by_text("Undo this import").first.click()
        phone.get_by_label("Reason").fill("the wrong sheet")
        phone.get_by_role("button", name="Undo this import").click()
        expect(phone.locator(".told")).to_contain_text("Undone")
        assert trials_of(world) == before

    def test_a_file_is_dropped(self, phone, world, tmp_path):
        file = tmp_path / "results.csv"
        file.write_text(CSV.replace("1,l9", "1,19"))
        phone.goto("/imports")
        phone.get_by_label("File").set_input_files(file)
        phone.get_by_role("button", name="Look at it").click()
        expect(phone.locator(".told").first).to_contain_text("New rows: 2")
        expect(phone.locator("dl.facts").first).to_contain_text("semicolon")


class TestBeforeTheEvent:
    def test_a_build_is_inspected_by_ticking(self, phone, world):
        phone.goto(f"/events/{world.larch.event_id}")
        phone.get_by_role("link", name="Larch one").first.click()
        phone.get_by_role("radiogroup", name="Nothing that can cut").get_by_label("met").check()
        phone.get_by_label("Who looked").fill("steward")
        phone.get_by_role("button", name="Save the inspection").click()
        expect(phone.locator(".question.pass")).to_have_count(2)

    def test_a_sheet_is_printed_without_what_only_a_screen_needs(self, phone, world):
        phone.goto(f"/teams/{world.larch.team_id}/sheet")
        phone.emulate_media(media="print")
        expect(phone.get_by_role("navigation")).to_be_hidden()
        expect(phone.get_by_role("img", name="Code that opens")).to_be_visible()
        expect(phone.get_by_role("heading", name="Cautions")).to_be_visible()
        pages = re.findall(rb"/Type /Page\b", phone.pdf(format="A4"))
        assert len(pages) == 1

    def test_a_report_is_printed(self, phone, world):
        phone.goto(f"/seasons/{world.season_id}")
        phone.emulate_media(media="print")
        expect(phone.locator(".gos").first).to_be_hidden()
        assert phone.pdf(format="A4").startswith(b"%PDF")


class TestByKeyboardAlone:
    def test_sign_in_enter_a_trial_and_read_its_result(self, browser, service, world):
        with visiting(browser, service, viewport=LAPTOP) as page:
            page.goto("/sign-in")
            tab_to(page, "key")
            page.keyboard.type(world.larch.coach_key)
            page.keyboard.press("Enter")
            page.wait_for_url("**/today")
            page.keyboard.press("Tab")
            assert page.evaluate("document.activeElement.className") == "skip"
            page.keyboard.press("Enter")
            new_trial(page, world)
            tab_to(page, "f-load_ohm")
            assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
            page.keyboard.press("Control+A")
            page.keyboard.type("30,1")
            tab_to(page, "f-load_connected")
            if not page.get_by_label("The load was connected").is_checked():
                page.keyboard.press("Space")
            tab_to(page, "f-voltage_1")
            page.keyboard.type("1,31")
            page.keyboard.press("Enter")
            assert page.evaluate("document.activeElement.id") == "f-voltage_2"
            while page.evaluate("document.activeElement.className") != "main":
                page.keyboard.press("Tab")
            page.keyboard.press("Enter")
            page.wait_for_url("**/trials/trl_*")
            expect(page.locator(".verdict")).to_contain_text("mW")

    def test_an_import_by_paste(self, browser, service, world):
        with visiting(browser, service, viewport=LAPTOP) as page:
            sign_in(page, world.larch.coach_key)
            page.goto("/imports")
            tab_to(page, "cells")
            page.keyboard.insert_text(CSV)
            page.keyboard.press("Tab")
            page.keyboard.press("Enter")
            expect(page.get_by_role("alert")).to_contain_text("not acceptable: 1")


def tab_to(page, name):
    """Go on by the Tab key until a field has the focus."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == name:
            return
    raise AssertionError(f"the Tab key does not reach {name}")


class TestWithoutAScript:
    def test_a_trial_a_refusal_and_an_import(self, browser, service, world):
        off = {"viewport": PHONE, "java_script_enabled": False}
        with visiting(browser, service, **off) as page:
            sign_in(page, world.larch.coach_key)
            new_trial(page, world)
            page.get_by_role("button", name="Send").click()
            expect(page.get_by_role("alert")).to_contain_text("Give at least one reading")
            fill_trial(page, "1,41", "1,42")
            page.get_by_role("button", name="Send").click()
            expect(page.locator(".verdict")).to_contain_text("Saved")
            page.goto("/imports")
            page.get_by_label("Or paste cells").fill(CSV)
            page.get_by_role("button", name="Look at it").click()
            expect(page.locator("tr.error")).to_contain_text("Row 3")


class TestANewProgramme:
    def test_from_nothing_to_a_trial_by_pages_alone(self, browser, tmp_path):
        service = Service(tmp_path)
        try:
            told = service.run("-m", "api", "key", "create", "--role", "lead", "--label", "Lead")
            with visiting(browser, service, viewport=PHONE) as page:
                sign_in(page, told.stdout.strip())
                register_all(page)
                fill_trial(page, "1,2", "1,19", "1,21")
                page.get_by_role("button", name="Send").click()
                expect(page.locator(".verdict")).to_contain_text("47.8 mW")
        finally:
            service.kill()


def register_all(page):
    """Register a season, a school, a team, a turbine, a bench and a session, page by page."""
    page.get_by_role("link", name="Open a season").click()
    page.get_by_label("Name").fill("Autumn 2026")
    page.get_by_label("First day").fill("2026-09-01")
    page.get_by_label("Last day").fill("2026-12-18")
    page.get_by_role("button", name="Open a season").click()
    page.get_by_role("link", name="Today").click()
    page.get_by_role("link", name="Register a school").click()
    page.get_by_label("Name").fill("Hollowbrook School")
    page.get_by_role("button", name="Register a school").click()
    page.get_by_role("link", name="Register a team").click()
    page.get_by_label("Name").fill("Sycamore")
    page.get_by_role("button", name="Register a team").click()
    page.get_by_role("link", name="Register a turbine").click()
    page.get_by_label("Name").fill("Spinner")
    page.get_by_label("Rotor diameter").fill("45,5")
    page.get_by_label("Number of blades").fill("3")
    page.get_by_role("button", name="Register a turbine").click()
    page.get_by_role("link", name="Set up a bench").click()
    page.get_by_label("Name").fill("Hall")
    page.get_by_label("Or a new fan").fill("Box fan")
    page.get_by_label("Fan setting").fill("2")
    page.get_by_label("Fan to rotor").fill("90")
    page.get_by_label("Kind of the new wind meter").select_option("vane")
    page.get_by_role("button", name="Set up a bench").click()
    page.get_by_role("link", name="Begin a session").click()
    page.get_by_label("Wind speed at the start").fill("4,2")
    page.get_by_role("button", name="Begin a session").click()
    expect(page.get_by_role("alert")).to_contain_text("This has to be so")
    page.get_by_label("An adult is at the fan").check()
    page.get_by_role("button", name="Begin a session").click()
    expect(page.get_by_label("Build")).to_have_value(re.compile("bld_"))


#: Pages that are shown; what is sent, is a file, or goes on elsewhere is none.
SHOWN = [
    name for name, (method, path) in ROUTES.items()
    if method == "GET" and name in TABLE and not path.endswith((".csv", ".zip", "{ending}"))
    and name != "season_of_today"
]  # fmt: skip


class TestEveryPage:
    @pytest.mark.parametrize(
        ("scheme", "size"), [("light", PHONE), ("dark", LAPTOP)], ids=["phone", "laptop"]
    )
    def test_is_accessible_light_and_whole(self, scheme, size, browser, service, world):
        ids = {name: each for name, each in world.larch.__dict__.items() if isinstance(each, str)}
        ids |= {
            "equipment_id": world.larch.kit_id, "school_id": world.larch.organisation_id,
            "sitting_id": world.larch.session_id, "rotor_id": world.reference_turbine_id,
            "position": "1",
        }  # fmt: skip
        axe = Axe()
        with visiting(browser, service, viewport=size, color_scheme=scheme) as page:
            sign_in(page, world.lead_key)
            for address in (
                "/sign-in",
                "/privacy",
                "/reference",
                *(_address(name, ids) for name in SHOWN),
            ):
                answer = page.goto(address)
                assert answer.status == 200, address
                found = axe.run(page, options={"runOnly": RULES}).response["violations"]
                assert [(each["id"], each["nodes"][0]["html"]) for each in found] == [], address
                plots = sum(len(each.inner_html()) for each in page.locator("svg").all())
                assert len(page.content().encode()) - plots < MOST_BYTES, address
                assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), address
                assert page.locator("h1").count() == 1, address
                if address != "/reference":
                    assert "As of " in page.locator("footer").last.inner_text(), address


def _address(name, ids):
    return (ROUTES[name][1] + TABLE[name].query).format(**ids)
