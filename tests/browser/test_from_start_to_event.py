"""From an empty programme to the event: pages, files, keyboard only, no script."""

import re
from datetime import UTC, datetime, timedelta

from playwright.sync_api import expect

from tests.support.browsers import LAPTOP, PHONE, sign_in, visiting
from tests.support.service import Service
from tests.support.trial_form import CSV, fill_trial, new_trial, trials_of


class TestFromASpreadsheet:
    def test_errors_by_cell_corrected_stored_and_undone(self, phone, world):
        before = trials_of(world)
        phone.goto("/imports")
        phone.get_by_label("Or paste cells").fill(CSV.replace(";", "\t"))
        phone.get_by_role("button", name="Check it").click()
        expect(phone.get_by_role("alert")).to_contain_text("Nothing is saved yet")
        row = phone.locator("tr.error")
        expect(row).to_contain_text("Row 3")
        expect(row).to_contain_text("voltage_v")
        assert row.get_by_label("Row 3, voltage_v").input_value() == "1,l9"
        phone.get_by_label("Row 3, voltage_v").fill("1,19")
        phone.get_by_role("button", name="Check again").click()
        expect(phone.locator(".callout").first).to_contain_text("New rows: 2")
        assert trials_of(world) == before
        looked = phone.get_by_label("I have checked what looks odd")
        if looked.count():
            looked.check()
        phone.get_by_role("button", name="Save it").click()
        expect(phone.locator(".callout")).to_contain_text("New rows: 2")
        assert trials_of(world) == before + 2
        phone.get_by_text("Undo this import").first.click()
        phone.get_by_label("Reason").fill("the wrong sheet")
        phone.get_by_role("button", name="Undo this import").click()
        expect(phone.locator(".callout")).to_contain_text("Undone")
        assert trials_of(world) == before

    def test_a_file_is_dropped(self, phone, world, tmp_path):
        file = tmp_path / "results.csv"
        file.write_text(CSV.replace("1,l9", "1,19"))
        phone.goto("/imports")
        phone.get_by_label("File").set_input_files(file)
        phone.get_by_role("button", name="Check it").click()
        expect(phone.locator(".callout").first).to_contain_text("New rows: 2")
        expect(phone.locator("dl.facts").first).to_contain_text("semicolon")


class TestBeforeTheEvent:
    def test_a_build_is_inspected_by_ticking(self, phone, world):
        phone.goto(f"/events/{world.larch.event_id}")
        phone.get_by_text("Who is ready").click()  # a section that is closed on a phone
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
            page.get_by_role("button", name="Check it").click()
            expect(page.locator("tr.error")).to_contain_text("Row 3")


class TestANewProgramme:
    def test_from_nothing_to_a_trial_by_pages_alone(self, browser, tmp_path):
        service = Service(tmp_path)
        try:
            done = service.run("-m", "api", "key", "create", "--role", "lead", "--label", "Lead")
            with visiting(browser, service, viewport=PHONE) as page:
                sign_in(page, done.stdout.strip())
                register_all(page)
                fill_trial(page, "1,2", "1,19", "1,21")
                page.get_by_role("button", name="Send").click()
                expect(page.locator(".verdict")).to_contain_text("47.8 mW")
        finally:
            service.kill()


def register_all(page):
    """Register a season, a school, a team, a turbine, a bench and a session, page by page."""
    today = datetime.now(UTC).date()
    page.get_by_role("link", name="Open a season").click()
    page.get_by_label("Name").fill("Running")
    page.get_by_label("First day").fill(f"{today - timedelta(days=60)}")
    page.get_by_label("Last day").fill(f"{today + timedelta(days=60)}")
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
