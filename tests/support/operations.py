"""Send a test's request to each operation of the API document."""

import re
from dataclasses import replace
from typing import Any

from fastapi.testclient import TestClient

from api.models.core.ids import new_id
from tests.support.document import document
from tests.support.makers import School
from tests.support.scope_table import TABLE

METHODS = ("get", "post", "patch", "put", "delete")


#: Ids that all schools of a programme share, or that are counts.
SHARED = ("season_id", "event_id", "run_number")


OPERATIONS = {
    operation["operationId"]: (method, path)
    for path, item in document()["paths"].items()
    for method, operation in item.items()
    if method in METHODS
}


def ids_of(school: School) -> dict[str, str]:
    """Return the value of each parameter of a path."""
    ids = {name: value for name, value in school.__dict__.items() if isinstance(value, str)}
    return ids | {"equipment_id": school.meter_id, "run_number": "1"}


def ask(client: TestClient, operation: str, school: School, ids: dict[str, str]) -> Any:
    method, path = OPERATIONS[operation]
    row = TABLE[operation]
    ids = ids | {parameter: ids[name] for parameter, name in row.at.items()}
    headers = {"If-Match": _tag(client, path, ids)} if method == "patch" else {}
    body = None if row.body is None else row.body(school)
    if isinstance(body, str | bytes):
        headers["Content-Type"] = "text/csv" if isinstance(body, str) else "application/zip"
        return client.request(method, path.format(**ids), content=body, headers=headers)
    return client.request(method, path.format(**ids), json=body, headers=headers)


def _tag(client: TestClient, path: str, ids: dict[str, str]) -> str:
    """Return the tag of the resource to change, or any tag if it cannot be read."""
    return client.get(path.format(**ids)).headers.get("ETag", '"v1"')


def nowhere(school: School, ids: dict[str, str]) -> tuple[School, dict[str, str]]:
    """Return a school in the same season whose ids are well formed and do not exist."""
    absent = {
        name: new_id(value.split("_")[0])
        for name, value in ids.items()
        if name != "season_id" and re.fullmatch(r"[a-z]+_[0-9A-Z]{26}", value)
    }
    fields = {name: value for name, value in absent.items() if name in school.__dict__}
    return replace(school, **fields), ids | absent


def without_ids(answer: Any) -> tuple[int, str, list[tuple[str, str]]]:
    """Return an answer without its ids, which are the caller's own or those of the request."""
    text = re.sub(r"[a-z]+_[0-9A-Z]{26}", "ID", answer.text)
    names = ("content-type", "etag", "location", "link", "cache-control", "content-length")
    headers = [(name, answer.headers[name]) for name in names if name in answer.headers]
    return answer.status_code, text, headers


def assert_tells_nothing_of(answer: Any, theirs: dict[str, str]) -> None:
    """Check that an answer has no id of the other school."""
    leaks = [name for name, value in theirs.items() if name not in SHARED and value in answer.text]
    assert not leaks
    assert "Birch" not in answer.text
