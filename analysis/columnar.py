"""Things that are kept as columns and made one by one."""

from abc import abstractmethod
from collections.abc import Sequence
from typing import TypeVar, overload

Item = TypeVar("Item")


class MadeWhenAsked(Sequence[Item]):
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
        positions = range(len(self))[at]  # as a list takes them: from behind, or out of reach
        if isinstance(positions, range):
            return [self.made(each) for each in positions]
        return self.made(positions)
