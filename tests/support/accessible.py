"""Check a page in a browser: accessible by axe, and nothing cut off."""

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

#: What a page says is the same in both schemes; its colours and sizes are not.
RULES = {
    "light": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "dark": ["color-contrast", "target-size", "link-in-text-block"],
}
#: Carrying what passed from the browser takes longer than finding it.
RUN_AXE = """rules => axe.run(document, {resultTypes: ["violations"], runOnly: rules}).then(
  found => found.violations.map(each => [each.id, each.nodes[0].html]))"""


def violations(page: Page, scheme: str) -> list[list[str]]:
    """Return what axe finds wrong in a colour scheme: the rule, and the first element."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE_SCRIPT)
    found: list[list[str]] = page.evaluate(RUN_AXE, RULES[scheme])
    return found


def is_whole(page: Page) -> bool:
    """Tell whether the page is not wider than its window."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= innerWidth"))
