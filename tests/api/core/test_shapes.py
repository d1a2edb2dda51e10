"""Shapes are built at their first use, so each is built here: an error in one is found."""

import pytest
from pydantic import BaseModel, TypeAdapter

import api.routes.resources
from api.models.core.shapes import PageQuery, Untabled

assert api.routes.resources, "all shapes are known"


def below(shape):
    """Return all classes that follow from a class, by name."""
    inner = {name: each for one in shape.__subclasses__() for name, each in below(one).items()}
    return {f"{shape.__module__}.{shape.__qualname__}": shape} | inner


SHAPES = below(Untabled) | below(PageQuery)


def test_a_shape_with_an_unknown_type_cannot_be_built():
    class Wrong(BaseModel, defer_build=True):
        value: "NoSuchType"  # noqa: F821

    with pytest.raises(NameError, match="NoSuchType"):
        Wrong.model_rebuild()


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_a_shape_can_be_built(shape):
    shape.model_rebuild()
    assert TypeAdapter(shape).json_schema()["type"] == "object"
