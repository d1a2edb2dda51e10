"""One catalogue for each language: no key is missing or left over, and no text is in the code."""

import ast
import re
from functools import cache
from pathlib import Path
from string import Formatter

import pytest

from api.messages import has_key
from api.messages.catalogue import catalogue
from api.messages.languages import DEFAULT, languages
from api.web.field_units import stem
from api.web.forms import Field
from api.web.registration.fields import SPEC
from api.web.registration.things import ENTRIES
from api.web.views.benches import GRID
from api.web.views.correction_form import FACTS, LOGGED, OF_RUN, REASON
from api.web.views.equipment import CHECK, LOAN, RETURN
from api.web.views.event_runs import RUN
from api.web.views.events import DRAWING, INSPECTOR
from api.web.views.sharing import KEY, SHARE, SIGN_IN
from api.web.views.trial_form import FIELDS

API = Path(__file__).parents[3] / "api"
#: Pages of the API reference say what the OpenAPI document says, to programmers.
REFERENCE = ("reference.html", "reference_subject.html", "shapes.html")
TEMPLATES = [each for each in (API / "web" / "templates").glob("*.html")
             if each.name not in REFERENCE]  # fmt: skip
DOCUMENTS = sorted((API / "services" / "reporting" / "templates").glob("*.*"))
SOURCES = [each for each in API.rglob("*.py") if "migrations" not in each.parts]
KEY_FORM = re.compile(r"[a-z_0-9]+\.[a-z_0-9]+")
OF_ONE_RUN = re.compile("^run_1_|(?<=^voltage)_[0-9]+$")
QUOTED = re.compile(r'(?:aria-label|title|alt|placeholder)="([^"]*)"')
CODE = re.compile(
    r"\{% set [a-z_]+ %\}.*?\{% endset %\}|\{#.*?#\}|\{\{.*?\}\}|\{%.*?%\}|<[^>]*>", re.S
)
#: What shows its words to people, of refusals and of reports.
SHOWING = {
    "FieldError", "Text", "Heading", "Items", "Table", "Malformed", "NotSignedIn", "NotPermitted",
    "NotFound", "NotAcceptable", "TooSlow", "Conflict", "Stale", "TooLarge", "UnsupportedMedia",
    "Invalid", "PreconditionMissing", "TooMany", "Busy", "Unexpected", "PydanticCustomError",
}  # fmt: skip
#: On the console only, which speaks English.
ON_THE_CONSOLE = ("__main__.py", "console.py", "erasing.py", "erasing_schools.py", "keys.py")
OTHERS = [each for each in languages() if each != DEFAULT]


@cache
def strings() -> tuple[set[str], set[str]]:
    """Return the texts of the code and of the templates, and how texts begin that go on."""
    complete, begun = set(), set()
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                complete.add(node.value)
            elif isinstance(node, ast.JoinedStr) and isinstance(node.values[0], ast.Constant):
                begun.add(node.values[0].value)
    for path in (*TEMPLATES, *DOCUMENTS):
        quoted = re.findall(r"""["']([a-z_0-9.]+)["']""", path.read_text(encoding="utf-8"))
        complete.update(quoted)
        begun.update(each for each in quoted if each.endswith((".", "_")))
    return complete, begun


def called() -> set[str]:
    """Return every key that is named in full where a message is said."""
    texts = [path.read_text(encoding="utf-8") for path in (*SOURCES, *TEMPLATES, *DOCUMENTS)]
    pattern = re.compile(r"""\b(?:say|statement)\(\s*["']([a-z_0-9]+\.[a-z_0-9]+)["']""")
    return {key for text in texts for key in pattern.findall(text)}


def groups_of_labels() -> set[str]:
    """Return the groups whose keys are put together of a group and a value."""
    text = "".join(path.read_text(encoding="utf-8") for path in SOURCES)
    return {f"{each}." for each in re.findall(r'labelled\(\s*"([a-z_]+)"', text)}


def all_fields():
    for entry in ENTRIES:
        kinds = SPEC if entry.kind == "equipment" else {"": ()}
        for kind in kinds:
            yield from entry.asked({"kind": kind})
    yield from (
        *FIELDS, *FACTS, *(Field(f"run_1_{name}") for name in (*OF_RUN[1:], *LOGGED)), *LOAN,
        *RETURN, *CHECK, *DRAWING, INSPECTOR, *GRID, *SHARE, *KEY, *SIGN_IN, *RUN, REASON,
    )  # fmt: skip


def placeholders(text):
    """Return the placeholders of a message with their formats."""
    return {(name, spec) for _, name, spec, _ in Formatter().parse(text) if name is not None}


class TestKeys:
    def test_every_key_that_is_said_is_there(self):
        assert {key for key in called() if not has_key(key)} == set()
        assert len(called()) > 700

    def test_no_text_is_left_over(self):
        complete, begun = strings()
        starts = tuple(
            each for each in (*begun, *groups_of_labels(), "field.", "hint.", "flag_state.")
            if "." in each
        )  # fmt: skip
        unused = [key for key in catalogue().forms
                  if key not in complete and not key.startswith(starts)]  # fmt: skip
        assert unused == []

    def test_every_field_has_a_label(self):
        for asked in all_fields():
            if asked.kind != "hidden":
                assert asked.label

    def test_no_field_is_labelled_in_vain(self):
        plain = [OF_ONE_RUN.sub("", each.name) for each in all_fields()]
        keys = {name for each in plain for name in (each, stem(each))} | {"kind"}
        labels = {key.split(".")[1] for key in catalogue().forms
                  if key.startswith(("field.", "hint."))}  # fmt: skip
        assert labels - keys == set()

    def test_every_key_has_a_group_and_a_name(self):
        assert [key for key in catalogue().forms if not KEY_FORM.fullmatch(key)] == []


@pytest.mark.parametrize("language", OTHERS)
class TestOtherLanguages:
    def test_no_key_is_missing_and_none_is_more(self, language):
        own, english = catalogue(language).forms, catalogue().forms
        assert set(english) - set(own) == set()
        assert set(own) - set(english) == set()

    def test_the_same_is_filled_in(self, language):
        own = catalogue(language).forms
        for key, forms in catalogue().forms.items():
            assert (len(own[key]) > 1) == (len(forms) > 1), key
            for form in own[key]:
                assert placeholders(form) <= placeholders(forms[-1]) | {("count", "")}, key
            assert placeholders(own[key][-1]) == placeholders(forms[-1]), key

    def test_hardly_anything_is_left_in_english(self, language):
        own = catalogue(language).forms
        sentences = [key for key, forms in catalogue().forms.items()
                     if len(re.findall(r"[a-z]{3,}", re.sub(r"\{.*?\}", "", forms[0]))) > 3
                     and own[key] == forms]  # fmt: skip
        assert sentences == []


@pytest.mark.parametrize("language", languages())
def test_every_text_has_words_and_no_blank_around_them(language):
    for key, forms in catalogue(language).forms.items():
        for form in forms:
            assert form == form.strip() != "", key


class TestNoTextInTheCode:
    @pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
    def test_no_template_says_anything_of_its_own(self, template):
        text = CODE.sub(" ", template.read_text(encoding="utf-8"))
        words = set(re.findall(r"[A-Za-z]{3,}", text))
        assert words - {"Gustbook"} == set()
        for value in QUOTED.findall(template.read_text(encoding="utf-8")):
            assert not value or value.startswith("{{"), value

    def test_no_refusal_and_no_report_has_words_of_its_own(self):
        texts = [
            f"{path.name}:{node.lineno}: {words}"
            for path in SOURCES if path.name not in ON_THE_CONSOLE
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in SHOWING
            for argument in (*node.args, *(each.value for each in node.keywords))
            for words in [_literal(argument)] if re.search(r"[a-z]{2,} [a-z]", words)
        ]  # fmt: skip
        assert texts == []


def _literal(argument: ast.expr) -> str:
    """Return the words that are written in an argument itself."""
    if isinstance(argument, ast.JoinedStr):
        return "".join(
            str(each.value) for each in argument.values if isinstance(each, ast.Constant)
        )
    return (
        argument.value
        if isinstance(argument, ast.Constant) and isinstance(argument.value, str)
        else ""
    )
