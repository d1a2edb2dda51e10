"""Open pages of the real service in a real browser, and check its requests and errors."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from playwright.sync_api import Browser, Page, sync_playwright

from tests.support.service import Service

PHONE, LAPTOP = {"width": 360, "height": 740}, {"width": 1366, "height": 768}
#: A script that reports violations of the content policy as console errors.
WATCH = """
addEventListener('securitypolicyviolation',
  (event) => console.error('CSP ' + event.violatedDirective + ' ' + event.blockedURI));
"""
#: A browser logs each answer of 400 or more, and each request without a network.
EXPECTED = "Failed to load resource"


def chromium() -> str:
    """Return the system's Chromium; without one these tests fail, and are not skipped."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    assert path, "Chromium is needed: on Debian, sudo apt install chromium"
    return path


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
    """A page with the addresses of its requests and its messages."""

    page: Page
    requests: list[str] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)


@contextmanager
def visiting(
    browser: Browser, service: Service, other_hosts: tuple[str, ...] = (), **options: object
) -> Iterator[Page]:
    """Open a page; fail the test if it leaves the hosts, violates its policy or has an error."""
    context = browser.new_context(base_url=service.url, **options)
    context.set_default_timeout(15_000)
    page = context.new_page()
    watched = Watched(page)
    context.on("request", lambda request: watched.requests.append(request.url))
    page.on("pageerror", lambda error: watched.messages.append(f"error {error}"))
    page.on("dialog", lambda dialog: watched.messages.append(f"dialog {dialog.message}"))
    page.on(
        "console",
        lambda message: watched.messages.append(message.text) if message.type == "error" else None,
    )
    if options.get("java_script_enabled", True):
        page.add_init_script(WATCH)
    try:
        yield page
    finally:
        context.close()
    inside = (service.url, "data:", *other_hosts)
    outside = [url for url in watched.requests if not url.startswith(inside)]
    assert outside == []
    assert [message for message in watched.messages if EXPECTED not in message] == []


def sign_in(page: Page, key: str) -> None:
    page.goto("/sign-in")
    page.get_by_label("Access key").fill(key)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/today")
