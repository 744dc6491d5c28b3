"""The acts on findings that have a form."""

from tests import builders
from tests.builders import Cast
from tests.reports.pages.forms_of_acts import CASES, OTHER, REEL, WHY, Opened, case

__all__ = ["CASES"]

FOUND = {"kind": "cable kink", "severity": "stop", "words": "a kink", "layer": "12"}


@case("reel-finding")
def _finding(cast: Cast) -> Opened:
    builders.make_finding_kind()
    return Opened(person=cast.technician, address=f"{REEL}/finding", typed=FOUND, altered={"words": "two kinks"})


@case("count-finding")
def _finding_in_count(cast: Cast) -> Opened:
    builders.make_finding_kind()
    address = f"/inspections/{builders.open_count(cast).pk}/finding"
    return Opened(person=cast.technician, address=address, typed=FOUND, altered={"words": "two kinks"})


@case("finding-lower")
def _finding_lower(cast: Cast) -> Opened:
    address = f"/findings/{builders.record_finding(cast.technician).pk}/watch"
    return Opened(person=cast.releaser, address=address, typed=WHY, altered=OTHER)


@case("finding-close")
def _finding_close(cast: Cast) -> Opened:
    address = f"/findings/{builders.record_finding(cast.technician).pk}/closing"
    return Opened(person=cast.releaser, address=address, typed={"remedy": "sound", **WHY}, altered=OTHER)
