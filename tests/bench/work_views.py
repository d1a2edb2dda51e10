"""Measure the pages that people open against a hello, each less the time of its data alone."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import partial

import httpx

from tests.bench.filled import SEASON, folder, public_id
from tests.bench.serving import Client, copied, ours, plain
from tests.bench.timing import Row
from tests.bench.work_requests import medians

TEAM, SCHOOL = public_id("team", 7), public_id("org", 1)
#: The address of each page, and those of its data.
VIEWS = {
    "today": ("/today", ("/v1/flags?severity=hold&state=open&limit=50",)),
    "the season": (f"/seasons/{SEASON}", (f"/v1/seasons/{SEASON}/report",)),
    "a school": (f"/schools/{SCHOOL}", (f"/v1/organisations/{SCHOOL}/report?season_id={SEASON}",)),
    "a team": (f"/teams/{TEAM}", (f"/v1/teams/{TEAM}/report",
                                  "/v1/trials?limit=50")),
    "a trial": (f"/trials/{public_id('trl', 20)}", (f"/v1/trials/{public_id('trl', 20)}",)),
    "the form at the bench": ("/trials/new", ("/v1/builds?limit=200", "/v1/sessions?limit=50")),
    "questions": ("/questions", ("/v1/flags?severity=hold&state=open&limit=50",)),
    "equipment": ("/equipment", ("/v1/equipment?limit=200",)),
    "seasons": ("/seasons", ("/v1/seasons",)),
}  # fmt: skip


def rows(scale: str) -> Iterator[Row]:
    """Yield the median of each page of a club, without that of its data."""
    with ExitStack() as running:
        service, key = running.enter_context(ours(copied("club")))
        hello = Client(running.enter_context(plain(f"sqlite:///{folder()}/views.db")))
        browser = running.enter_context(_signed_in(service.url, key))
        script = Client(service.url, key)
        works = {"hello": partial(hello.ask, "GET", "/hello")}
        for name, (page, data) in VIEWS.items():
            works[name] = partial(_opened, browser, page)
            works |= {path: partial(script.ask, "GET", path) for path in data}
        taken = medians(works)
    for name, (_, data) in VIEWS.items():
        of_data = sum(taken[path] for path in data)
        own = max(0.0, taken[name] - of_data)
        # Without a goal: a signed-in page with a list of one season takes six times a hello.
        yield Row(f"page of {name}, {1000 * taken[name]:.1f} ms, less its data", own,
                  "async hello", taken["hello"], None)  # fmt: skip


@contextmanager
def _signed_in(url: str, key: str) -> Iterator[httpx.Client]:
    """Give a browser that is signed in with a key."""
    with httpx.Client(base_url=url, headers={"Sec-Fetch-Site": "same-origin"}) as browser:
        assert browser.post("/sign-in", data={"key": key}).status_code == 303
        yield browser


def _opened(browser: httpx.Client, path: str) -> None:
    answer = browser.get(path, headers={"Accept": "text/html"})
    if answer.status_code != 200:
        raise AssertionError(f"{path}: {answer.status_code}")
