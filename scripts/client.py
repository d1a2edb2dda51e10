"""Connect to a Gustbook service: access key, retries, errors, pages, the current season.

All scripts for coaches import this module. To use one of them elsewhere, copy both files.
"""

import argparse
import os
import stat
import sys
import time
from pathlib import Path
from typing import Any

import httpx

#: Exit codes of the scripts.
OK, REFUSED, USAGE, KEY, SERVER = range(5)
TRIES = 5
SAFE_AGAIN = "Run this again when it is back: nothing is stored twice."


class Stop(Exception):
    """End the script with a message and an exit code."""

    def __init__(self, code: int, words: str) -> None:
        super().__init__(words)
        self.code = code


def read_key() -> str:
    """Return the access key from the environment or a private file."""
    key = os.environ.get("GUSTBOOK_KEY", "").strip()
    if key:
        return key
    path = Path(os.environ.get("GUSTBOOK_KEY_FILE", Path.home() / ".config/gustbook/key"))
    if not path.is_file():
        raise Stop(KEY, f"no access key: set GUSTBOOK_KEY, or keep the key in {path}")
    if os.name != "nt" and path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
        raise Stop(KEY, f"others can read {path}: run 'chmod 600 {path}'")
    return path.read_text(encoding="utf-8").strip()


def open_client(url: str, key: str, transport: Any = None) -> httpx.Client:
    """Return a client that sends the key."""
    try:
        return httpx.Client(
            base_url=url,
            headers={"Authorization": f"Bearer {key}"},
            timeout=120,
            transport=transport,
        )
    except (httpx.InvalidURL, UnicodeEncodeError) as error:
        raise Stop(USAGE, f"the address or the key cannot be used: {error}") from error


def ask(client: Any, method: str, path: str, **request: Any) -> Any:
    """Return the answer to a request; retry a lost connection or a busy service."""
    for attempt in range(1, TRIES + 1):
        try:
            answer = client.request(method, path, **request)
        except httpx.TransportError as error:
            problem = f"{client.base_url} cannot be reached: {error}. {SAFE_AGAIN}"
        else:
            if answer.status_code not in (429, 502, 503, 504):
                return answer
            problem = error_message(answer)
        if attempt < TRIES:
            time.sleep(min(8.0, 0.5 * 2**attempt))
    raise Stop(SERVER, problem)


def error_message(answer: Any) -> str:
    """Return the status, title and detail of an error answer."""
    try:
        problem = answer.json()
    except ValueError:
        problem = {}
    detail = problem.get("detail", "no reason given; is this the address of a Gustbook service?")
    return f"{answer.status_code} {problem.get('title', '')}: {detail}"


def require_ok(answer: Any) -> Any:
    """Return the answer if it is a success; stop with the service's message if not."""
    if answer.status_code in (401, 403):
        raise Stop(KEY, error_message(answer))
    if answer.status_code >= 500:
        raise Stop(SERVER, error_message(answer))
    if answer.status_code >= 400:
        raise Stop(REFUSED, error_message(answer))
    return answer


def find_season(client: Any, name: str | None) -> Any:
    """Return the season with this name or id, or else the current one; print which it is."""
    if name is None:
        season = require_ok(ask(client, "GET", "/v1/seasons/current")).json()
        print(f"season: {season['name']}. {season['sentence']}", file=sys.stderr)
        return season
    seasons = list_all(client, "seasons", limit="200")
    for season in seasons:
        if name == season["id"] or same_name(name, season["name"]):
            print(f"season: {season['name']}", file=sys.stderr)
            return season
    raise Stop(REFUSED, f"no season {name}; there are: {_names(seasons)}")


def find(client: Any, collection: str, name: str | None, **filters: str) -> dict[str, Any]:
    """Return the item with this name, or the newest of the collection if no name is given."""
    items = list_all(client, collection, **filters)
    matching = [item for item in items if name is None or same_name(name, item["name"])]
    if not matching:
        raise Stop(REFUSED, f"no such name in {collection}; there are: {_names(items)}")
    if name is not None and len(matching) > 1:
        several = f"{name} is the name of several in {collection}"
        raise Stop(USAGE, f"{several}; name the organisation too")
    return matching[-1]


def list_all(client: Any, collection: str, **filters: str) -> list[dict[str, Any]]:
    """Return all items of a collection, page after page, oldest first."""
    items: list[dict[str, Any]] = []
    path: str | None = f"/v1/{collection}?" + "&".join(f"{k}={v}" for k, v in filters.items())
    while path:
        answer = require_ok(ask(client, "GET", path))
        items += answer.json()["items"]
        path = answer.links.get("next", {}).get("url")
    return items


def same_name(one: str, other: str) -> bool:
    """Compare two names, ignoring case and extra spaces."""
    return " ".join(one.casefold().split()) == " ".join(other.casefold().split())


def _names(items: list[dict[str, Any]]) -> str:
    return ", ".join(sorted(item["name"] for item in items)) or "none yet"


def add_url(parser: argparse.ArgumentParser) -> None:
    """Add the option for the address of the service."""
    default = os.environ.get("GUSTBOOK_URL", "http://127.0.0.1:8000")
    parser.add_argument("--url", default=default)
