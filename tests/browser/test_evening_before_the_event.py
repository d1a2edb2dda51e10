"""What a coach does the evening before an event, on a phone and a laptop, light and dark."""

import re

import pytest
from icalendar import Calendar
from playwright.sync_api import expect

from tests.support.accessible import is_whole, violations
from tests.support.browsers import LAPTOP, PHONE, sign_in, visiting
from tests.support.makers import created, session_payload, trial_payload

SCREENS = [
    pytest.param({"viewport": size, "color_scheme": scheme}, id=f"{name}, {scheme}")
    for name, size in (("phone", PHONE), ("laptop", LAPTOP))
    for scheme in ("light", "dark")
]


@pytest.fixture(scope="module")
def compared(world):
    """Give both schools reference runs and trials, so that their teams are on one scale."""
    rotor = {"build_id": world.reference_build_id, "kind": "reference"}
    for school in (world.larch, world.birch):
        for at in range(3):
            runs = [{"voltage_v": 1.2 + at / 100}, {"voltage_v": 1.21}]
            created(school.coach.post("/v1/trials", json=trial_payload(school, runs=runs)))
            created(school.coach.post("/v1/trials", json=trial_payload(school, runs=runs, **rotor)))
    return world


@pytest.fixture(params=SCREENS)
def screen(request):
    return request.param


@pytest.fixture
def lead(browser, service, world, screen):
    with visiting(browser, service, **screen) as page:
        sign_in(page, world.lead_key)
        yield page


def accessible(page, scheme="light"):
    assert violations(page, scheme) == []
    assert is_whole(page)


def share(page, path):
    """Make a share link from a page's button; return its address."""
    page.goto(path)
    page.get_by_role("button", name="Make the link").click()
    return page.locator(".callout a.address").get_attribute("href")


class TestCompare:
    def test_two_teams_are_ticked_and_compared(self, lead, compared, screen):
        lead.goto(f"/seasons/{compared.season_id}")
        for team in ("Larch one", "Birch one"):
            lead.get_by_role("checkbox", name=re.compile(team)).check()
        button = lead.get_by_role("button", name="Compare")
        expect(button).to_be_in_viewport()  # it stays in sight once a row is ticked
        button.click()
        expect(lead.get_by_role("heading", level=1)).to_have_text("Compare teams")
        accessible(lead, screen["color_scheme"])
        for team in ("Larch one", "Birch one"):
            expect(lead.locator(".tiles")).to_contain_text(team)
        pdf = lead.get_by_role("link", name="PDF").get_attribute("href")
        answer = lead.request.get(pdf)
        assert answer.headers["content-type"] == "application/pdf"

    def test_by_keyboard(self, browser, service, compared):
        with visiting(browser, service, viewport=LAPTOP) as page:
            sign_in(page, compared.lead_key)
            page.goto(f"/seasons/{compared.season_id}#ranking")
            for box in page.locator(".rank input[type=checkbox]").all():
                box.focus()
                page.keyboard.press("Space")
            page.keyboard.press("Tab")
            page.keyboard.press("Enter")
            page.wait_for_url("**/compare?*")
            chart = page.locator("svg.chart[tabindex='0']").locator("visible=true").first
            chart.focus()
            page.keyboard.press("ArrowRight")
            expect(page.locator("figure:has(svg.chart:focus) output")).not_to_be_empty()

    def test_without_script(self, browser, service, compared):
        with visiting(browser, service, viewport=PHONE, java_script_enabled=False) as page:
            sign_in(page, compared.lead_key)
            page.goto(f"/seasons/{compared.season_id}")
            for box in page.locator(".rank input[type=checkbox]").all():
                box.check()
            page.get_by_role("button", name="Compare").click()
            expect(page.locator(".tiles li")).to_have_count(2)


class TestHandOuts:
    def test_a_school_is_handed_out_in_one_tap(self, lead, compared):
        lead.goto(f"/schools/{compared.larch.organisation_id}")
        link = lead.get_by_role("link", name="All hand-outs as one PDF").first
        expect(link).to_be_in_viewport()
        answer = lead.request.get(link.get_attribute("href"))
        assert answer.body().startswith(b"%PDF")


class TestBoard:
    def test_a_link_shows_results_as_they_come(self, lead, browser, service, world, screen):
        address = share(lead, f"/shares?event_id={world.larch.event_id}")
        with visiting(browser, service, **screen) as board:
            board.goto(address)
            accessible(board, screen["color_scheme"])
            before = board.locator("main").inner_text()
            store_next_run(world)
            expect(board.locator("main")).not_to_have_text(before, timeout=12_000)

    def test_without_script_the_board_reloads_itself(self, browser, service, world):
        with visiting(browser, service, java_script_enabled=False) as page:
            sign_in(page, world.lead_key)
            page.goto(f"/events/{world.larch.event_id}/board")
            assert '<meta http-equiv="refresh"' in page.content()


def store_next_run(world):
    """Store the first official run that is missing; of a reference rotor or a team."""
    event = f"/v1/events/{world.larch.event_id}"
    stored = {run["position"] for run in world.lead.get(f"{event}/results").json()["runs"]}
    slots = world.lead.get(f"{event}/run-order").json()["slots"]
    slot = next(each for each in slots if each["position"] not in stored)
    build = next(
        (school.build_id for school in (world.larch, world.birch)
         if school.team_id == slot["team_id"]), world.reference_build_id,
    )  # fmt: skip
    run = {
        "position": slot["position"], "build_id": build, "outcome": "ok",
        "trial": {"load_ohm": 30.1, "load_connected": True, "runs": [{"voltage_v": 1.2}]},
    }  # fmt: skip
    asked = {"session_id": session_of_the_day(world), "runs": [run]}
    world.lead.post(f"{event}/results", json=asked).raise_for_status()


def session_of_the_day(world):
    started_at = "2026-05-16T09:00:00Z"
    sessions = world.lead.get("/v1/sessions", params={"bench_id": world.larch.bench_id}).json()
    for session in sessions["items"]:
        if session["started_at"].startswith("2026-05-16"):
            return session["id"]
    payload = session_payload(world.larch, started_at=started_at)
    return created(world.lead.post("/v1/sessions", json=payload))["id"]


class TestCalendar:
    def test_a_link_is_made_and_its_address_is_a_calendar(self, lead, browser, service, screen):
        lead.goto("/events")
        lead.get_by_role("link", name="Calendar for your phone").click()
        lead.get_by_role("button", name="Make the link").click()
        address = lead.locator(".callout a.address").get_attribute("href")
        with visiting(browser, service, **screen) as anybody:
            anybody.goto(address)
            accessible(anybody, screen["color_scheme"])
            expect(anybody.get_by_role("row", name=re.compile("Spring meeting"))).to_be_visible()
            feed = anybody.get_by_label("Address for your calendar program").input_value()
            file = anybody.request.get(feed)
            events = Calendar.from_ical(file.body()).walk("VEVENT")
            assert "Spring meeting" in [str(each["SUMMARY"]) for each in events]


class TestWind:
    @pytest.mark.parametrize(
        ("unit", "label", "meaning"), [("mph", "(mph)", "= 8.948 mph"), ("m_s", "(m/s)", "= 4 m/s")]
    )
    def test_a_school_chooses_the_unit_of_its_wind_meter(self, phone, world, unit, label, meaning):
        phone.goto(f"/schools/{world.larch.organisation_id}/edit")
        phone.get_by_label("Unit of wind").select_option(unit)
        phone.get_by_role("button", name="Save").click()
        phone.wait_for_url(f"**/schools/{world.larch.organisation_id}")
        phone.goto(f"/sessions/new?bench_id={world.larch.bench_id}")
        phone.get_by_label(re.compile("Wind.*" + re.escape(label))).first.fill("14,4 km/h")
        expect(phone.locator("output.meaning").first).to_have_text(meaning)


class TestSlowLink:
    def test_a_form_says_that_it_is_sending(self, phone, world):
        phone.goto(f"/sessions/new?bench_id={world.larch.bench_id}")
        phone.locator("#f-started_at").fill("2026-04-14T16:00")
        phone.get_by_label("An adult").check()
        slow_down(phone)
        button = phone.get_by_role("button", name="Begin a session")
        button.evaluate(NOTE_BUSY)
        button.click()
        phone.wait_for_url("**/trials/new?**")
        assert phone.evaluate("sessionStorage.getItem('busy')") == "true"

    def test_the_season_is_small_enough_for_a_slow_phone(self, phone, compared):
        phone.goto(f"/seasons/{compared.season_id}")
        sizes = phone.evaluate(
            "performance.getEntriesByType('navigation').concat("
            "performance.getEntriesByType('resource')).map(each => each.transferSize)"
        )
        assert sum(sizes) < 150 * 1024


#: Notes when a button says that it is at work; the next page can still read it.
NOTE_BUSY = """button => new MutationObserver(
  () => sessionStorage.setItem("busy", button.getAttribute("aria-busy"))
).observe(button, {attributes: true, attributeFilter: ["aria-busy"]})"""


def slow_down(page):
    """Make the link of a page as slow as a bad mobile network."""
    link = {"offline": False, "latency": 800, "downloadThroughput": 200_000,
            "uploadThroughput": 100_000}  # fmt: skip
    page.context.new_cdp_session(page).send("Network.emulateNetworkConditions", link)


class TestUnsaved:
    def test_a_form_that_was_changed_asks_before_it_is_left(self, browser, service, world):
        context = browser.new_context(base_url=service.url, viewport=LAPTOP)
        try:
            page = context.new_page()
            asked = []
            page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
            sign_in(page, world.lead_key)
            page.goto(f"/teams/{world.larch.team_id}/edit")
            page.get_by_label("Age band").or_(page.get_by_label("Name")).first.fill("Another")
            page.get_by_role("link", name="Events").click()
            expect(page.get_by_label("Name").first).to_be_visible()
            assert asked == ["beforeunload"]
        finally:
            context.close()
