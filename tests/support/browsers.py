"""A real browser on the real service: what it may load, and what it must never say."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from playwright.sync_api import Browser, Page, sync_playwright

from tests.support.service import Service

PHONE, LAPTOP = {"width": 360, "height": 740}, {"width": 1366, "height": 768}
#: What a page says of a break of its content policy.
WATCH = """
addEventListener('securitypolicyviolation',
  (event) => console.error('CSP ' + event.violatedDirective + ' ' + event.blockedURI));
"""
#: A browser notes each answer of 400 or more, and each request without a network.
EXPECTED = "Failed to load resource"


def chromium() -> str:
    """Return the system's Chromium; without one these tests fail and are not passed over."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    assert found, "Chromium is needed: on Debian, sudo apt install chromium"
    return found


@contextmanager
def launched() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium(), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


@dataclass
class Watched:
    """A page with all that it asked for and said."""

    page: Page
    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)


@contextmanager
def visiting(browser: Browser, service: Service, **options: object) -> Iterator[Page]:
    """Open a page that fails its test when it leaves the host, breaks its policy or errs."""
    context = browser.new_context(base_url=service.url, **options)
    context.set_default_timeout(15_000)
    page = context.new_page()
    watched = Watched(page)
    context.on("request", lambda request: watched.asked.append(request.url))
    page.on("pageerror", lambda error: watched.said.append(f"error {error}"))
    page.on("dialog", lambda dialog: watched.said.append(f"dialog {dialog.message}"))
    page.on(
        "console",
        lambda message: watched.said.append(message.text) if message.type == "error" else None,
    )
    if options.get("java_script_enabled", True):
        page.add_init_script(WATCH)
    try:
        yield page
    finally:
        context.close()
    outside = [url for url in watched.asked if not url.startswith((service.url, "data:"))]
    assert outside == []
    assert [words for words in watched.said if EXPECTED not in words] == []


def sign_in(page: Page, key: str) -> None:
    page.goto("/sign-in")
    page.get_by_label("Access key").fill(key)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/today")
