"""A guided tour: for each part of the job a few pages to look at, what is to be seen there, and what to try."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

QUOTED = re.compile("“([^”]+)”")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A page to look at. look: sentences; what stands in “ ” in them is on that page, word for word."""

    title: str
    address: str
    look: tuple[str, ...]
    to_try: str

    @property
    def promised(self) -> tuple[str, ...]:
        """What must be on the page."""
        return tuple(words for sentence in self.look for words in QUOTED.findall(sentence))


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleTour:
    """The tour of one part of the job, as one person."""

    slug: str
    title: str
    username: str
    name: str
    comes_for: str
    stops: tuple[Stop, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tour:
    """All walks. password: of everybody in them; they are made up, and so is it."""

    title: str
    before: str
    password: str
    walks: tuple[RoleTour, ...]

    def walk(self, slug: str) -> RoleTour | None:
        """The walk of that name."""
        return next((walk for walk in self.walks if walk.slug == slug), None)


def tour_of(said: Mapping[str, Any]) -> Tour:
    """The tour that a file tells. Raises KeyError naming what is missing."""
    return Tour(
        title=said["title"], before=said["before"], password=said["password"],
        walks=tuple(_walk(each) for each in said["roles"]),
    )  # fmt: skip


def _walk(said: Mapping[str, Any]) -> RoleTour:
    names = ("slug", "title", "username", "name", "comes_for")
    stops = tuple(
        Stop(title=each["title"], address=each["address"], look=tuple(each["look"]), to_try=each["try"])
        for each in said["steps"]
    )
    return RoleTour(**{name: said[name] for name in names}, stops=stops)
