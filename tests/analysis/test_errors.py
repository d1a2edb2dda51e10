"""Errors of calculations have one base class, and their tree is as drawn."""

import importlib
import inspect
import pkgutil

import pytest

import analysis
from analysis import errors
from analysis.errors import AnalysisError, InvalidInput, TooFewTrials


def test_each_is_a_value_error_that_one_clause_catches():
    for kind in (AnalysisError, InvalidInput, TooFewTrials):
        with pytest.raises(AnalysisError, match="because"):
            raise kind("because")
        assert issubclass(kind, ValueError)


def test_numbers_that_cannot_be_are_not_taken_for_too_few():
    assert not issubclass(InvalidInput, TooFewTrials)
    assert not issubclass(TooFewTrials, InvalidInput)


def test_the_tree_is_drawn_as_it_is():
    """Each line of the drawing is a class, and is indented below its base class."""
    drawn = [
        line for line in (errors.__doc__ or "").split("\n") if line.lstrip()[:2] in ("* ", "- ")
    ]
    depth_and_name = [(len(line) - len(line.lstrip()), line.split()[1]) for line in drawn]
    above = {}
    for depth, name in depth_and_name:
        above[depth] = getattr(errors, name)
        parents = [above[each] for each in sorted(above) if each < depth]
        assert above[depth].__bases__ == (parents[-1] if parents else ValueError,)
    defined = {name for name, each in vars(errors).items() if inspect.isclass(each)}
    assert {name for _, name in depth_and_name} == defined


def test_every_refusal_of_the_package_is_one_of_them():
    walked = pkgutil.walk_packages(analysis.__path__, "analysis.")
    modules = [importlib.import_module(each.name) for each in walked]
    own = {each for module in modules for each in vars(module).values()
           if inspect.isclass(each) and issubclass(each, Exception)
           and each.__module__.startswith("analysis.")}  # fmt: skip
    assert len(own) > 3  # pitch has its own kind
    assert all(issubclass(each, AnalysisError) for each in own)
