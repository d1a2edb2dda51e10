"""A trial at the bench: entered, refused, answered, corrected, sent once."""

import re

import pytest
from playwright.sync_api import expect

from tests.support.browsers import PHONE, sign_in, visiting
from tests.support.makers import build_payload, created, trial_payload
from tests.support.trial_form import fill_trial, new_trial, trials_of


@pytest.fixture(scope="module")
def many_builds(world):
    """Give a school so many builds that the form offers to search them."""
    for _ in range(8):
        changed = build_payload(world.larch.turbine_id, changed_factor="pitch")
        created(world.larch.coach.post("/v1/builds", json=changed))
    return world


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
        text = phone.locator(".verdict").inner_text()
        # The worked example: 1.2 V over 30.1 ohm are 47.8 mW, shown with interval and cube rule.
        assert "47.8 mW" in text
        assert re.search(r"would be \d+ mW \(\d+ to \d+\)", text)
        assert "cube rule" in text
        phone.get_by_role("link", name="Next trial").click()
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
        expect(phone.locator("#trouble")).to_be_focused()  # the script moves it there after loading
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
        phone.get_by_text("Change history").click()
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
        phone.get_by_text("Change history").click()
        expect(phone.locator(".history")).to_contain_text(
            "Load resistor, as measured (Ω): 30.1 → 22.0"
        )


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


class TestFindingABuild:
    @pytest.fixture
    def lead(self, browser, service, world):
        with visiting(browser, service, viewport=PHONE) as page:
            sign_in(page, world.lead_key)
            yield page

    def test_two_letters_at_the_beginning_of_a_word_find_it(self, lead, many_builds):
        lead.goto(f"/trials/new?session_id={many_builds.larch.session_id}")
        search = lead.get_by_label("Find: two letters")
        offered = lead.locator("#f-build_id option:not([value=''])")
        search.fill("it")  # within "pitch", which is no name
        expect(offered).to_have_count(0)
        search.fill("bi")
        expect(offered).to_have_count(1)
        assert lead.locator("#f-build_id").input_value() == many_builds.birch.build_id
        search.fill("la 1")
        expect(offered).to_have_count(1)
        search.fill("")
        expect(offered).to_have_count(11)

    def test_the_teams_of_the_chosen_school_stand_first(self, lead, many_builds):
        lead.goto(f"/trials/new?session_id={many_builds.larch.session_id}")
        teams = lead.locator("#f-build_id optgroup")
        expect(teams.first).to_have_attribute("label", "Larch one")
        lead.locator("#f-build_id").select_option(many_builds.larch.build_id)
        lead.locator("#f-session_id").select_option(many_builds.birch.session_id)
        assert [each.get_attribute("label") for each in teams.all()] == [
            "Birch one", "Larch one", "Reference rotors",
        ]  # fmt: skip
        assert lead.locator("#f-build_id").input_value() == many_builds.larch.build_id
