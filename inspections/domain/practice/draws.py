"""How hard a practice reel is, and choices that a seed makes.

The draws come from the raw stream of PCG64, which is promised never to change, so that a printed seed gives the same
reel in any year.
"""

from collections.abc import Sequence
from enum import StrEnum
from typing import TypeVar

import numpy as np

T = TypeVar("T")


class Difficulty(StrEnum):
    """How much on a reel invites a slip, easiest first."""

    PLAIN = "plain"  # nothing
    USUAL = "usual"  # one thing that needs care
    TRICKY = "tricky"  # one thing that few people meet
    TREACHEROUS = "treacherous"  # two or three things at once

    @property
    def place(self) -> int:
        """0 for the easiest."""
        return tuple(Difficulty).index(self)


class Draws:
    """Choices from the raw stream of a seed. stream: another number gives another stream of the same seed."""

    def __init__(self, seed: int, stream: int = 0) -> None:
        self._bits = np.random.PCG64([seed, stream] if stream else seed)

    def below(self, n: int) -> int:
        """A whole number from 0 to n - 1."""
        return int(self._bits.random_raw()) % n

    def one_of(self, choices: Sequence[T]) -> T:
        """One of them."""
        return choices[self.below(len(choices))]
