"""Every page on a phone and on a laptop: accessible, small enough, nothing cut off."""

from tests.support.accessible import is_whole, violations
from tests.support.browsers import LAPTOP, PHONE, sign_in, visiting
from tests.support.page_routes import ROUTES
from tests.support.page_table import TABLE

MOST_BYTES = 100 * 1024  # of a page without its plots
SCREENS = (("light", PHONE), ("dark", LAPTOP))
#: A laptop at 200 % zoom, and the 320 px at which WCAG 2.2 (1.4.10) asks for no scrolling
#: in two directions.
ZOOMED = ({"width": 683, "height": 384}, {"width": 320, "height": 256})

FILES = (".csv", ".zip", ".pdf", ".xlsx", "{ending}", "{container}")
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
                for scheme, size in SCREENS:
                    page.emulate_media(color_scheme=scheme)
                    page.set_viewport_size(size)
                    assert violations(page, scheme) == [], (address, scheme)
                    assert is_whole(page), (address, size)
                for size in ZOOMED:
                    page.set_viewport_size(size)
                    assert is_whole(page), (address, size)
                plots = sum(len(each.inner_html()) for each in page.locator("svg").all())
                assert len(page.content().encode()) - plots < MOST_BYTES, address
                assert page.locator("h1").count() == 1, address
                if address != "/reference":
                    assert "As of " in page.locator("footer").last.inner_text(), address


def _address(name, ids):
    return (ROUTES[name][1] + TABLE[name].query).format(**ids)
