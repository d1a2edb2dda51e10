"""The service below a path of a shared host: nothing asks for an address outside of it."""

import re
from html.parser import HTMLParser

import httpx
import pytest
from playwright.sync_api import expect

from tests.support.browsers import PHONE, visiting
from tests.support.makers import make_world, trial_payload
from tests.support.service import Service
from tests.support.trial_form import CSV, fill_trial, wait_for_kept_form

PATH = "/wind"
ADDRESSES = ("href", "src", "action", "formaction")
#: Pages that end a visit, or that are files, are not followed.
NOT_FOLLOWED = re.compile(r"\.(pdf|csv|xlsx|zip|ics|json|parquet)\b|/export|/sign-out")


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    running = Service(tmp_path_factory.mktemp("below"), GUSTBOOK_ROOT_PATH=PATH)
    yield running
    running.kill()


@pytest.fixture(scope="module")
def world(service):
    clients = {}

    def signed(key):
        return clients.setdefault(key, service.client(key))

    yield make_world(service.lead_key(), signed).signed_in(signed)
    for client in clients.values():
        client.close()


@pytest.fixture
def phone(browser, service, world):
    with visiting(browser, service, viewport=PHONE, has_touch=True) as page:
        page.goto(f"{service.url}/sign-in")
        page.get_by_label("Access key").fill(world.larch.coach_key)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(f"{service.url}/today")
        yield page


class Addresses(HTMLParser):
    """The addresses of a page on its own host, and those of them that are links."""

    def __init__(self, text):
        super().__init__()
        self.all, self.links = [], []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        found = [text for name, text in attributes if name in ADDRESSES and text.startswith("/")]
        self.all += found
        self.links += found if tag == "a" else []


class TestPages:
    def test_each_link_is_below_the_path_and_leads_to_a_page(self, phone, service):
        """Follow every link from the first page on, except one of each kind of address."""
        visited, waiting = set(), [f"{PATH}/today"]
        cookies = "; ".join(f"{each['name']}={each['value']}" for each in phone.context.cookies())
        headers = {"Accept": "text/html", "Cookie": cookies}
        with httpx.Client(
            base_url=service.url.removesuffix(PATH), headers=headers, follow_redirects=True
        ) as client:
            while waiting:
                address = waiting.pop().partition("#")[0]
                kind = re.sub(r"[a-z]+_[0-9A-Z]{26}", "", address.partition("?")[0])
                if kind in visited or NOT_FOLLOWED.search(address):
                    continue
                visited.add(kind)
                answer = client.get(address)
                assert answer.status_code == 200, address
                addresses = Addresses(answer.text)
                assert [each for each in addresses.all if not each.startswith(f"{PATH}/")] == []
                waiting += addresses.links
        assert {f"{PATH}/teams/", f"{PATH}/trials/new", f"{PATH}/seasons/"} < visited

    def test_a_trial_waits_on_the_phone_and_the_form_opens_without_a_network(
        self, phone, service, world
    ):
        form = f"{service.url}/trials/new"
        query = f"build_id={world.larch.build_id}&session_id={world.larch.session_id}"
        phone.goto(f"{form}?{query}")
        wait_for_kept_form(phone, f"{PATH}/trials/new")
        fill_trial(phone, "1,11", "1,12")
        phone.context.set_offline(True)
        phone.get_by_role("button", name="Send").click()
        expect(phone.get_by_role("status")).to_contain_text("Saved on this phone")
        phone.goto(form)
        expect(phone.locator("#unsent-count")).to_contain_text("1")
        phone.context.set_offline(False)
        expect(phone.get_by_role("status")).to_contain_text(
            "Trials sent from this phone: 1", timeout=20_000
        )

    def test_a_sheet_is_imported_and_a_link_is_shared(self, phone, service, world):
        phone.goto(f"{service.url}/imports")
        phone.get_by_label("Or paste cells").fill(CSV.replace("1,l9", "1,19"))
        phone.get_by_role("button", name="Check it").click()
        looked = phone.get_by_label("I have checked what looks odd")
        if looked.count():
            looked.check()
        phone.get_by_role("button", name="Save it").click()
        phone.wait_for_url(f"{service.url}/imports/imp_*")
        phone.goto(f"{service.url}/shares?team_id={world.larch.team_id}")
        phone.get_by_role("button", name="Make the link").click()
        phone.locator(f"a[href^='{service.url}/shared/']").first.click()
        expect(phone.locator("h1")).to_contain_text("Larch one")


class TestPrograms:
    def test_a_refusal_leads_to_its_page(self, service):
        refusal = httpx.get(f"{service.url}/v1/seasons").json()
        page = httpx.get(service.url.removesuffix(PATH) + refusal["type"])
        assert page.status_code == 200
        assert refusal["title"] in page.text

    def test_what_is_stored_has_its_address(self, service, world):
        stored = world.larch.coach.post("/v1/trials", json=trial_payload(world.larch))
        assert stored.headers["location"].startswith(f"{PATH}/v1/trials/")

    def test_the_next_part_of_a_list_has_its_address(self, world):
        listed = world.lead.get("/v1/teams?limit=1")
        assert listed.links["next"]["url"].startswith(f"{PATH}/v1/teams?")

    def test_a_proxy_may_remove_the_path(self, service):
        at_root = service.url.removesuffix(PATH)
        page = httpx.get(f"{at_root}/sign-in", headers={"Accept": "text/html"})
        assert f'action="{PATH}/sign-in"' in page.text
        assert httpx.get(f"{at_root}/readyz").status_code == 200

    def test_the_document_names_where_the_service_is(self, service):
        (server,) = httpx.get(f"{service.url}/openapi.json").json()["servers"]
        assert server["url"] == PATH
