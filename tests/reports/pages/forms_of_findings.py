"""The acts on findings and third readings that have a form."""

from inspections.models import ThirdReading
from tests import builders, stories
from tests.builders import Cast
from tests.reports.pages.forms_of_acts import OTHER, REEL, WHY, Opened, case
from tests.reports.pages.forms_of_moves import CASES

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


def _asked(cast: Cast) -> ThirdReading:
    return stories.ask_third(cast, stories.differ(cast, stories.at_the_scales(cast)))


def _third(asked: ThirdReading) -> str:
    return f"/inspections/{asked.reading.inspection_id}/third-readings/{asked.pk}"


@case("third-ask")
def _third_ask(cast: Cast) -> Opened:
    differing = stories.differ(cast, stories.at_the_scales(cast))
    return Opened(person=cast.technician, address=f"/inspections/{differing.pk}/third-readings/scale_left/request")


@case("third-end")
def _third_end(cast: Cast) -> Opened:
    return Opened(person=cast.technician, address=f"{_third(_asked(cast))}/end")


@case("third-reading")
def _third_reading(cast: Cast) -> Opened:
    asked, person = _asked(cast), stories.third_person(cast)
    return Opened(person=person, address=_third(asked), typed={"scale_left": "13"}, altered={"scale_left": "12"})
