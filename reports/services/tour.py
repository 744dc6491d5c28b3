"""The guided tour of this installation, if it has one: for each role a few pages, what to see there and what to try."""

import json
import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from django.conf import settings

from reels.errors import NotFound

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
    """The tours of all roles. password: of everybody in them; they are made up, and so is it."""

    title: str
    before: str
    password: str
    roles: tuple[RoleTour, ...]


def tour() -> Tour:
    """The tour that TOUR_FILE names. Raises NotFound where none is named, KeyError naming what a file lacks."""
    if not settings.TOUR_FILE:
        raise NotFound(what="page", key="tour")
    return read_tour(Path(settings.TOUR_FILE))


def role_tour(slug: str) -> tuple[Tour, RoleTour]:
    """The tour and that of one role. Raises NotFound for a role that it has not."""
    whole = tour()
    for role in whole.roles:
        if role.slug == slug:
            return whole, role
    raise NotFound(what="tour", key=slug)


@lru_cache(maxsize=1)
def read_tour(path: Path) -> Tour:
    """The tour in a file. Raises KeyError naming what is missing."""
    data = json.loads(path.read_text(encoding="utf-8"))
    roles = []
    for role in data["roles"]:
        stops = (Stop(title=step["title"], address=step["address"], look=tuple(step["look"]), to_try=step["try"])
                 for step in role["steps"])  # fmt: skip
        names = ("slug", "title", "username", "name", "comes_for")
        roles.append(RoleTour(**{name: role[name] for name in names}, stops=tuple(stops)))
    return Tour(title=data["title"], before=data["before"], password=data["password"], roles=tuple(roles))
