"""All words of pages stand in one catalogue: none is missing, none is left over."""

import re
from pathlib import Path

import pytest

from api.web.forms import Field, stem
from api.web.messages import catalogue, say
from api.web.registration.fields import SPEC
from api.web.registration.things import ENTRIES
from api.web.views.benches import GRID
from api.web.views.correction_form import FACTS, LOGGED, OF_RUN, REASON
from api.web.views.equipment import CHECK, LOAN, RETURN
from api.web.views.event_runs import RUN
from api.web.views.events import DRAWING, INSPECTOR
from api.web.views.sharing import KEY, SHARE
from api.web.views.trial_form import FIELDS

FOLDER = Path(__file__).parents[2] / "api" / "web"
#: Pages of the API reference speak of what the OpenAPI document says, to programmers.
REFERENCE = ("reference.html", "reference_subject.html", "shapes.html")
TEMPLATES = [each for each in (FOLDER / "templates").glob("*.html") if each.name not in REFERENCE]
SOURCES = [path.read_text() for path in (*TEMPLATES, *FOLDER.rglob("*.py"))]
OF_ONE_RUN = re.compile("^run_1_|(?<=^voltage)_[0-9]+$")
WHOLE = re.compile(r"""say\(\(*["']([a-z_]+\.[a-z_0-9]+)["']""")
#: How a key is begun whose end is a fact: "role." ~ role, f"trial.{key}", labelled("drift", …).
BEGUN = re.compile(
    r"""["']([a-z_]+\.)["']|f["']([a-z_]+\.)[a-z_]*\{|labelled\(\s*["']([a-z_]+)["']"""
)
QUOTED = re.compile(r'(?:aria-label|title|alt|placeholder)="([^"]*)"')
CODE = re.compile(
    r"\{% set [a-z_]+ %\}.*?\{% endset %\}|\{#.*?#\}|\{\{.*?\}\}|\{%.*?%\}|<[^>]*>", re.S
)


def all_fields():
    for entry in ENTRIES:
        kinds = SPEC if entry.kind == "equipment" else {"": ()}
        for kind in kinds:
            yield from entry.asked({"kind": kind})
    yield from (
        *FIELDS,
        *FACTS,
        *(Field(f"run_1_{name}") for name in (*OF_RUN[1:], *LOGGED)),
        *LOAN,
        *RETURN,
        *CHECK,
        *DRAWING,
        INSPECTOR,
        *GRID,
        *SHARE,
        *KEY,
        *RUN,
        REASON,
    )


@pytest.fixture(scope="module")
def said():
    return {key for text in SOURCES for key in WHOLE.findall(text)}


def test_every_key_that_is_said_is_there(said):
    assert said - set(catalogue()) == set()
    assert len(said) > 200


def test_no_text_is_left_over(said):
    found = [each for text in SOURCES for each in BEGUN.findall(text)]
    begun = {f"{''.join(each).rstrip('.')}." for each in found} | {"field.", "hint."}
    known = said | {f"{key}_one" for key in said}
    over = [key for key in set(catalogue()) - known if not key.startswith(tuple(begun))]
    assert over == []


def test_every_field_has_a_label():
    for asked in all_fields():
        if asked.kind != "hidden":
            assert asked.label


def test_no_field_is_labelled_in_vain():
    plain = [OF_ONE_RUN.sub("", each.name) for each in all_fields()]
    keys = {name for each in plain for name in (each, stem(each))} | {"kind"}
    labels = {key.split(".")[1] for key in catalogue() if key.startswith(("field.", "hint."))}
    assert labels - keys == set()


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_no_template_says_anything_of_its_own(template):
    text = CODE.sub(" ", template.read_text())
    words = set(re.findall(r"[A-Za-z]{3,}", text))
    assert words - {"Gustbook"} == set()
    for value in QUOTED.findall(template.read_text()):
        assert not value or value.startswith("{{"), value


def test_every_text_can_be_said():
    for key, words in catalogue().items():
        body = say(key, **dict.fromkeys(re.findall(r"\{([a-z_]+)\}", words), "3"))
        assert "{" not in body
        assert body == body.strip() != ""
