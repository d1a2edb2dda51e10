"""Every page on a phone and on a laptop: accessible, small enough, nothing cut off."""

from axe_playwright_python.base import AXE_SCRIPT

from tests.support.browsers import LAPTOP, PHONE, sign_in, visiting
from tests.support.page_routes import ROUTES
from tests.support.page_table import TABLE

MOST_BYTES = 100 * 1024  # of a page without its plots
#: What a page says is the same in both schemes; its colours and sizes are not.
RULES = {
    "light": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "dark": ["color-contrast", "target-size", "link-in-text-block"],
}
#: Carrying what passed from the browser takes longer than finding it.
RUN_AXE = """rules => axe.run(document, {resultTypes: ["violations"], runOnly: rules}).then(
  found => found.violations.map(each => [each.id, each.nodes[0].html]))"""

SCREENS = (("light", PHONE), ("dark", LAPTOP))

FILES = (".csv", ".zip", ".pdf", "{ending}", "{container}")
#: Pages that are shown; what is sent, is a file, or goes on elsewhere is none.
SHOWN = [
    name for name, (method, path) in ROUTES.items()
    if method == "GET" and name in TABLE and not path.endswith(FILES)
    and name != "season_of_today"
]  # fmt: skip


class TestEveryPage:
    def test_is_accessible_light_and_whole(self, browser, service, world):
        ids = {name: each for name, each in world.larch.__dict__.items() if isinstance(each, str)}
        ids |= {
            "equipment_id": world.larch.kit_id, "school_id": world.larch.organisation_id,
            "session_id": world.larch.session_id, "rotor_id": world.reference_turbine_id,
            "position": "1",
        }  # fmt: skip
        with visiting(browser, service) as page:
            sign_in(page, world.lead_key)
            for address in (
                "/sign-in",
                "/privacy",
                "/reference",
                *(_address(name, ids) for name in SHOWN),
            ):
                answer = page.goto(address)
                assert answer.status == 200, address
                page.evaluate(AXE_SCRIPT)
                for scheme, size in SCREENS:
                    page.emulate_media(color_scheme=scheme)
                    page.set_viewport_size(size)
                    assert page.evaluate(RUN_AXE, RULES[scheme]) == [], (address, scheme)
                    is_whole = "document.documentElement.scrollWidth <= innerWidth"
                    assert page.evaluate(is_whole), (address, size)
                plots = sum(len(each.inner_html()) for each in page.locator("svg").all())
                assert len(page.content().encode()) - plots < MOST_BYTES, address
                assert page.locator("h1").count() == 1, address
                if address != "/reference":
                    assert "As of " in page.locator("footer").last.inner_text(), address


def _address(name, ids):
    return (ROUTES[name][1] + TABLE[name].query).format(**ids)
