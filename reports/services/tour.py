"""The guided tour of this installation, if it has one."""

import json
from functools import lru_cache
from pathlib import Path

from django.conf import settings

from reels.errors import NotFound
from reports.domain.tour import RoleTour, Tour, tour_of


def tour() -> Tour:
    """The tour that TOUR_FILE names. Raises NotFound where none is named."""
    if not settings.TOUR_FILE:
        raise NotFound(what="page", key="tour")
    return _read(str(settings.TOUR_FILE))


def walk(slug: str) -> tuple[Tour, RoleTour]:
    """The tour and one part of it. Raises NotFound for a part that it has not."""
    found = tour()
    part = found.walk(slug)
    if part is None:
        raise NotFound(what="tour", key=slug)
    return found, part


@lru_cache(maxsize=1)
def _read(path: str) -> Tour:
    return tour_of(json.loads(Path(path).read_text(encoding="utf-8")))
