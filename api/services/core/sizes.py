"""Estimate the memory of a value, to bound what is cached."""

import sys
from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass
from itertools import islice
from typing import Any

from pydantic import BaseModel

SAMPLED = 8  # of a long list; the others are taken to be as large on average
#: Metadata of a field whose value is cached under a subject of its own.
COUNTED_ELSEWHERE = {"counted elsewhere": True}


def size_of(value: Any) -> int:
    """Return about how many bytes a value holds: its arrays, lists, and shapes of any depth.

    An array is counted once. Texts in it are not, since equal ones are one object.

    >>> import numpy as np
    >>> size_of(np.zeros(1000)) >= 8000, size_of([1.5] * 1000) > size_of([1.5] * 10)
    (True, True)
    """
    return _size(value, set())


def _size(value: Any, counted: set[int]) -> int:
    if (
        array_bytes := getattr(value, "nbytes", None)
    ) is not None:  # a service starts without numpy
        is_new = id(value) not in counted
        counted.add(id(value))
        return int(array_bytes) if is_new else 0
    own = sys.getsizeof(value)
    if isinstance(value, dict):
        return own + _all_of(value, counted) + _all_of(value.values(), counted)
    if isinstance(value, list | tuple | set | frozenset):
        return own + _all_of(value, counted)
    return own + sum(_size(part, counted) for part in _parts(value))


def _all_of(values: Any, counted: set[int]) -> int:
    """Return the size of all values, by that of a sample."""
    sample = [_size(each, counted) for each in islice(values, SAMPLED)]
    return sum(sample) * len(values) // len(sample) if sample else 0


def _parts(value: Any) -> Iterator[Any]:
    """Yield the fields of a data class or shape."""
    names: Iterable[str] = ()
    if is_dataclass(value) and not isinstance(value, type):
        names = (each.name for each in fields(value) if each.metadata != COUNTED_ELSEWHERE)
    elif isinstance(value, BaseModel):
        names = type(value).model_fields
    yield from (getattr(value, name) for name in names)
