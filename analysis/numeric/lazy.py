"""Build the items of a sequence on access, and columns of words from conditions."""

from abc import abstractmethod
from collections.abc import Sequence
from typing import TypeVar, overload

import numpy as np
import numpy.typing as npt

from analysis.columns import TextArray

Item = TypeVar("Item")


class LazySequence(Sequence[Item]):
    """A sequence that builds each item when it is accessed."""

    __slots__ = ()

    @abstractmethod
    def item(self, at: int) -> Item:
        """Return the item at a position from 0 on."""

    @overload
    def __getitem__(self, at: int) -> Item: ...
    @overload
    def __getitem__(self, at: slice) -> list[Item]: ...
    def __getitem__(self, at: int | slice) -> Item | list[Item]:
        if isinstance(at, slice):
            return [self.item(each) for each in range(len(self))[at]]
        return self.item(range(len(self))[at])  # negative and invalid positions as in a list


def first_words(conditions: Sequence[npt.NDArray[np.bool_]], words: Sequence[str]) -> TextArray:
    """Return, for each row, the word of the first condition that is true.

    Parameters
    ----------
    conditions : sequence of array of bool, shape (n,)
        Conditions on each row, in the order in which they are checked.
    words : sequence of str
        One word per condition.

    Returns
    -------
    array of object, shape (n,)
        Empty where no condition is true. Equal words share one object: a million rows of
        fixed-width text would need the memory of the longest word a million times.

    Examples
    --------
    >>> cold = np.array([True, False, False])
    >>> first_words([cold, np.array([True, True, False])], ["cold", "dry"]).tolist()
    ['cold', 'dry', '']
    """
    positions = [np.int8(at) for at in range(len(words))]
    which = np.select(conditions, positions, np.int8(len(words)))
    return np.array([*words, ""], dtype=object)[which]
