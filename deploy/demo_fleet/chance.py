"""Chance that comes out the same everywhere: everything is made of one stream of numbers from 0 to 1."""

from collections.abc import Sequence
from random import Random
from typing import TypeVar

Item = TypeVar("Item")


class Chance:
    """Draws from a seeded stream. Only `random()` is used, whose stream Python keeps from version to version."""

    def __init__(self, seed: int) -> None:
        self._stream = Random(seed)  # noqa: S311  # invented data, no secret

    def between(self, low: float, high: float) -> float:
        return low + (high - low) * self._stream.random()

    def whole(self, low: int, high: int) -> int:
        """A whole number, both ends included."""
        return low + int((high - low + 1) * self._stream.random())

    def happens(self, share: float) -> bool:
        return self._stream.random() < share

    def near(self, spread: float) -> float:
        """About normal, around 0."""
        return spread * (sum(self._stream.random() for _ in range(12)) - 6)

    def one_of(self, items: Sequence[Item]) -> Item:
        return items[int(len(items) * self._stream.random())]

    def some_of(self, items: Sequence[Item], number: int) -> list[Item]:
        """So many different ones, in the order drawn."""
        rest = list(items)
        return [rest.pop(int(len(rest) * self._stream.random())) for _ in range(number)]
