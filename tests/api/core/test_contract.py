"""The OpenAPI document: complete, valid, with examples that fit their shapes, and fuzzed."""

import jsonschema
import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from openapi_spec_validator import validate
from sqlmodel import SQLModel

import api.models
from analysis.columns import CHECK_COLUMNS, RUN_COLUMNS, TRIAL_COLUMNS
from api.models.core.ids import is_id
from api.routes.examples import EXAMPLES
from api.services.measurements import frame_parts
from tests.support.document import document
from tests.support.operations import METHODS, ids_of

DOCUMENT = document()
OPERATIONS = [
    (f"{method} {path}", operation)
    for path, item in DOCUMENT["paths"].items()
    for method, operation in item.items()
    if method in METHODS
]


def test_the_document_is_valid():
    validate(DOCUMENT)


@pytest.mark.parametrize(
    "operation", [each for _, each in OPERATIONS], ids=[n for n, _ in OPERATIONS]
)
class TestEveryOperation:
    def test_says_what_it_does(self, operation):
        assert operation["summary"]
        assert operation["description"].endswith(".")
        assert operation["tags"]

    def test_shows_an_example(self, operation):
        items = [operation.get("requestBody", {}), *operation["responses"].values()]
        examples = [
            media["example"]
            for each in items
            for media in each.get("content", {}).values()
            if "example" in media
        ]
        assert examples or "204" in operation["responses"]

    def test_every_refusal_is_a_problem_that_operations_share(self, operation):
        for status, response in operation["responses"].items():
            if status.startswith(("4", "5")) or status == "default":
                shared = DOCUMENT["components"]["responses"][response["$ref"].rpartition("/")[2]]
                assert list(shared["content"]) == ["application/problem+json"]
        assert "default" in operation["responses"]


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_fit_their_shapes(name):
    schema = {"$ref": f"#/components/schemas/{name}", "components": DOCUMENT["components"]}
    jsonschema.validate(EXAMPLES[name], schema)


def test_example_ids_are_well_formed():
    assert is_id("trl", EXAMPLES["TrialRead"]["id"])
    assert is_id("team", EXAMPLES["TeamRead"]["id"])


def test_the_frame_has_the_columns_that_calculations_name():
    plain, checked = (
        frame_parts.trial_columns(is_checked=each) | frame_parts.session_columns(is_checked=each)
        | frame_parts.build_columns(is_checked=each) | frame_parts.OF_SWEEP | frame_parts.OF_LOAD
        for each in (False, True)
    )  # fmt: skip
    assert set(TRIAL_COLUMNS) <= set(plain)
    computed = {"blade_pitch_range_deg", "anemometer_checked_at", "load_record_ohm"}
    computed |= {"season_starts_at", "season_ends_at"}
    assert set(CHECK_COLUMNS) - computed <= set(checked)
    assert {"trial", *frame_parts.RUN_FRAME} == set(RUN_COLUMNS)


def test_every_table_is_known():
    named = {getattr(api.models, name).__tablename__ for name in api.models.__all__}
    assert named == set(SQLModel.metadata.tables)


def test_fuzzed_nothing_falls_over(world, app_client):
    """Generated requests over the whole document, as a lead, on things that are there: no 5xx."""
    schema = schemathesis.openapi.from_dict(DOCUMENT)
    ids, key = ids_of(world.larch), {"Authorization": f"Bearer {world.lead_key}"}
    fuzzed = [
        _fuzz(result.ok(), ids, key | {"If-Match": '"v1"'}, app_client)
        for result in schema.get_all_operations()
    ]
    assert len(fuzzed) == len(OPERATIONS)


@schemathesis.serializer("application/zip")
def _zip(ctx, value):
    """Send what was generated in place of a file as its text."""
    return str(value).encode("utf-8", "replace")


def _pairs(files):
    return files.items() if isinstance(files, dict) else files


def _fuzz(operation, ids, headers, client):
    @given(case=operation.as_strategy())
    @settings(
        max_examples=settings.default.max_examples // 20, deadline=None, derandomize=True,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    def send(case):
        case.path_parameters = {name: ids[name] for name in case.path_parameters or {}}
        arguments = case.as_transport_kwargs(base_url="http://gustbook.test")
        sent = {k: v for k, v in arguments.items() if k in ("params", "json", "data", "files")}
        sent["headers"] = {
            k: v
            for k, v in (arguments.get("headers") or {}).items()
            if k.lower() != "authorization"
        } | headers
        if "files" in sent:  # a generated "file" may be any JSON value: it travels as its text
            sent["files"] = [
                (name, str(content).encode()) for name, content in _pairs(sent["files"])
            ]
        if isinstance(sent.get("data"), bytes | str):
            sent["content"] = sent.pop("data")
        answer = client.request(arguments["method"], arguments["url"], **sent)
        assert answer.status_code < 500, (operation.label, answer.text[:300])

    send()
    return operation.label
