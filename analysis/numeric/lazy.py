"""Things that are kept as columns and made one by one."""

from abc import abstractmethod
from collections.abc import Sequence
from typing import TypeVar, overload

import numpy as np
import numpy.typing as npt

from analysis.columns import TextArray

Item = TypeVar("Item")


class LazySequence(Sequence[Item]):
    """A sequence whose items are made when they are asked for."""

    __slots__ = ()

    @abstractmethod
    def made(self, at: int) -> Item:
        """Return the item at a position from 0 on."""

    @overload
    def __getitem__(self, at: int) -> Item: ...
    @overload
    def __getitem__(self, at: slice) -> list[Item]: ...
    def __getitem__(self, at: int | slice) -> Item | list[Item]:
        if isinstance(at, slice):
            return [self.made(each) for each in range(len(self))[at]]
        return self.made(range(len(self))[at])  # as a list takes it: from behind, or out of reach


def first_words(conditions: Sequence[npt.NDArray[np.bool_]], words: Sequence[str]) -> TextArray:
    """Return row by row the word of the first condition that holds.

    Parameters
    ----------
    conditions : sequence of array of bool, shape (n,)
        What is asked of each row, in this order.
    words : sequence of str
        One to a condition.

    Returns
    -------
    array of object, shape (n,)
        Empty where none holds. Equal words are one object: as text of one width, a million
        sentences would be their longest a million times.

    Examples
    --------
    >>> cold = np.array([True, False, False])
    >>> first_words([cold, np.array([True, True, False])], ["cold", "dry"]).tolist()
    ['cold', 'dry', '']
    """
    places = [np.int8(at) for at in range(len(words))]
    which = np.select(conditions, places, np.int8(len(words)))
    return np.array([*words, ""], dtype=object)[which]
