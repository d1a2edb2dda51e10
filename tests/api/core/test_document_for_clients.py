"""The OpenAPI document as programs need it that make clients from it."""

from collections import Counter

import pytest

from api.errors import refusal_kinds
from api.openapi.choices import NAMES
from api.openapi.parts import name_in, operations_of, parts_of
from api.openapi.shapes import WITH_GAPS
from tests.support.document import document

DOCUMENT = document()
SHAPES = DOCUMENT["components"]["schemas"]
OPERATIONS = {operation["operationId"]: operation for _, operation in operations_of(DOCUMENT)}
#: Operations that change something, of which all is said by their address.
DONE_WITHOUT_BODY = {"remove_webhook", "test_webhook"}
OPEN = {"get_health", "get_readiness", "get_meta"}


def statuses(name):
    return set(OPERATIONS[name]["responses"])


class TestRefusals:
    def test_each_operation_with_a_key_may_refuse_it(self):
        for name, operation in OPERATIONS.items():
            assert (operation["security"] == []) == (name in OPEN), name
            assert ({"401", "429"} <= statuses(name)) == (name not in OPEN), name

    def test_a_read_for_coaches_too_never_asks_for_another_role(self):
        reads = {name for name, each in OPERATIONS.items() if "requestBody" not in each}
        refusing = {name for name in reads if "403" in statuses(name)}
        for_leads = {"list_keys", "get_key", "list_audit", "export_season"}
        not_for_readers = {"list_webhooks", "get_webhook", "list_webhook_deliveries"}
        assert refusing == for_leads | not_for_readers | DONE_WITHOUT_BODY

    def test_what_names_nothing_stored_is_never_missing(self):
        for name in ("create_season", "create_organisation", "import_season", "list_teams"):
            assert "404" not in statuses(name)
        assert "404" in statuses("create_team") & statuses("get_team")

    def test_a_change_needs_the_state_it_is_based_on(self):
        for name, operation in OPERATIONS.items():
            wanted = [
                each for each in operation.get("parameters", ()) if each["name"] == "If-Match"
            ]
            assert bool(wanted) == ({"412", "428"} <= statuses(name)), name
            assert all(each["required"] for each in wanted)

    def test_each_refusal_is_one_that_operations_share(self):
        shared = DOCUMENT["components"]["responses"]
        assert {"NotFound", "Invalid", "TooMany", "Refused"} <= set(shared)
        assert "WWW-Authenticate" in shared["NotSignedIn"]["headers"]
        assert "Retry-After" in shared["TooMany"]["headers"]

    def test_each_refusal_shows_the_type_that_has_a_page(self):
        kinds = refusal_kinds()
        for name, refusal in DOCUMENT["components"]["responses"].items():
            if name != "Refused":
                example = refusal["content"]["application/problem+json"]["example"]
                assert kinds[example["type"].removeprefix("/problems/")] == example["status"]


class TestAnswers:
    def test_where_the_service_is_and_the_headers_of_its_answers(self):
        assert [server["url"] for server in DOCUMENT["servers"]] == ["/"]
        stored = OPERATIONS["submit_trial"]["responses"]["201"]["headers"]
        assert {"Location", "ETag", "X-Request-Id"} <= set(stored)
        assert "Link" in OPERATIONS["list_trials"]["responses"]["200"]["headers"]
        assert "Location" not in OPERATIONS["create_many_teams"]["responses"]["201"]["headers"]

    def test_the_state_of_a_thing_or_of_a_list_has_a_tag(self):
        tagged = {name for name in OPERATIONS if "304" in statuses(name)}
        assert {"get_team", "get_trial", "get_run_order", "list_trials"} <= tagged
        for name, operation in OPERATIONS.items():
            named = {each["name"] for each in operation.get("parameters", ())}
            assert ("If-None-Match" in named) == (name in tagged), name
        assert "ETag" not in OPERATIONS["get_season_comparison"]["responses"]["200"]["headers"]

    def test_an_answer_has_all_its_values(self):
        report, trial = SHAPES["SeasonReport"], SHAPES["TrialRead"]
        assert set(report["required"]) == set(report["properties"])
        assert set(trial["required"]) == set(trial["properties"])
        assert set(SHAPES) >= WITH_GAPS

    def test_what_an_answer_may_leave_out_has_no_default(self):
        for name, value in (("Problem", "errors"), ("FieldError", "hint"), ("TeamPage", "total")):
            assert value not in SHAPES[name]["required"]
            assert "default" not in SHAPES[name]["properties"][value]

    def test_what_is_asked_for_may_be_left_out(self):
        assert "note" not in SHAPES["TrialCreate"]["required"]
        assert "required" not in SHAPES["TeamUpdate"]


#: What operations that only read begin with.
READS = ("get_", "list_", "export_")


class TestNames:
    def test_an_operation_says_first_what_it_does(self):
        for name, operation in OPERATIONS.items():
            only_reads = "requestBody" not in operation and name not in DONE_WITHOUT_BODY
            assert name.startswith(READS) == only_reads, name

    def test_each_subject_is_described_and_used(self):
        described = {tag["name"]: tag["description"] for tag in DOCUMENT["tags"]}
        assert all(words.endswith(".") for words in described.values())
        used = {tag for operation in OPERATIONS.values() for tag in operation["tags"]}
        assert used == set(described)

    def test_each_shape_has_a_title_of_its_own(self):
        titles = [shape.get("title", name) for name, shape in SHAPES.items()]
        assert sorted(titles) == sorted(set(titles))

    @pytest.mark.parametrize("kind", ["schemas", "responses", "headers"])
    def test_each_name_reads_as_a_name(self, kind):
        assert [each for each in DOCUMENT["components"][kind] if "_" in each] == []
        assert {"TrialPage", "TeamCreateBatch", "TeamReadBatch"} <= set(SHAPES)

    def test_values_that_several_shapes_allow_have_one_name(self):
        allowed = Counter(
            tuple(part["enum"]) for part in parts_of(DOCUMENT) if isinstance(part.get("enum"), list)
        )
        assert {values for values, times in allowed.items() if times > 1} == set()
        assert set(NAMES.values()) <= set(SHAPES)

    def test_each_name_of_values_is_used(self):
        pointed_at = {name_in(part) for part in parts_of(DOCUMENT)}
        assert set(NAMES.values()) - pointed_at == set()

    def test_words_of_our_own_are_extensions(self):
        for name, shape in SHAPES.items():
            units = [part["unit"] for part in parts_of(shape) if "unit" in part]
            assert all(isinstance(each, dict) for each in units), name


class TestFiles:
    @pytest.mark.parametrize("name", ["import_trials", "import_season", "attach_series"])
    def test_each_upload_can_be_a_form_that_every_program_can_send(self, name):
        content = OPERATIONS[name]["requestBody"]["content"]
        assert name_in(content["multipart/form-data"]["schema"]) == "FileForm"
        assert SHAPES["FileForm"]["properties"]["file"]["format"] == "binary"

    def test_each_kind_of_content_says_what_it_is(self):
        for name, operation in OPERATIONS.items():
            messages = [operation.get("requestBody", {}), *operation["responses"].values()]
            for content in (each.get("content", {}) for each in messages):
                assert all("schema" in media for media in content.values()), name

    def test_bytes_differ_from_text(self):
        report = OPERATIONS["get_season_report"]["responses"]["200"]["content"]
        assert report["application/pdf"]["schema"] == {"type": "string", "format": "binary"}
        assert report["text/csv; charset=utf-8"]["schema"] == {"type": "string"}
        sheet = OPERATIONS["import_trials"]["requestBody"]["content"]["text/csv"]["schema"]
        assert sheet["format"] == "binary"  # text in any encoding is taken


class TestValues:
    def test_a_quantity_may_come_in_any_of_its_units(self):
        bench = SHAPES["BenchCreate"]
        assert "distance_m" not in bench["required"]
        assert "in one of its units" in bench["properties"]["distance_m"]["description"]
        assert {"name", "fan_id"} <= set(bench["required"])

    def test_a_parameter_is_left_out_and_never_null(self):
        for name, operation in OPERATIONS.items():
            for parameter in operation.get("parameters", ()):
                choices = parameter["schema"].get("anyOf", ())
                assert {"type": "null"} not in choices, (name, parameter["name"])

    def test_a_tuple_is_a_list_of_its_length(self):
        tuples = [part for part in parts_of(SHAPES) if "prefixItems" in part]
        assert tuples
        for part in tuples:
            assert part["items"] == part["prefixItems"][0]
            assert part["minItems"] == part["maxItems"] == len(part["prefixItems"])
