"""What a reel's page says of its cable: by the log, by the last count, and how much is left of it."""

from decimal import Decimal

import pytest

from inspections.pages.reel.cable_length import BELOW, NEARLY, cable_on
from reels.domain.winding import drum_from, length_m
from reels.domain.words import LengthUnit
from reels.models import Reel, ReelType
from tests import builders
from tests.builders import Cast, later

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return Cast.as_needed()


def cable(unit=LengthUnit.METRES):
    return cable_on(Reel.objects.select_related("type").get(), later(days=1), unit)


def by_model():
    return float(length_m(12, 10, drum_from(vars(ReelType.objects.get()))))


def metres(words):
    value, _, spread = words.replace(" m", "").partition(" ± ")
    return float(value), float(spread)


def test_the_last_count_gives_a_length_with_its_uncertainty(cast):
    builders.make_reel()
    assert cable().by_count == ""
    builders.signed_count(cast)
    value, spread = metres(cable().by_count)
    assert value == pytest.approx(by_model(), abs=0.05)
    assert 0 < spread < 0.1 * value


def test_what_was_cut_since_the_count_is_taken_off(cast):
    builders.make_reel()
    builders.signed_count(cast)
    builders.log_cut(cast, metres="12.5", at=later(hours=2))
    assert metres(cable().by_count)[0] == pytest.approx(by_model() - 12.5, abs=0.05)
    assert cable().by_log == "407.5 m"


def test_lengths_are_in_the_unit_that_is_asked_for(cast):
    builders.make_reel()
    builders.signed_count(cast)
    assert cable(LengthUnit.FEET).by_count.split(" ft")[0] == f"{by_model() / 0.3048:.1f}"
    assert cable(LengthUnit.FEET).by_log == "1377.95 ft"  # 420 m / 0.3048 m


@pytest.mark.parametrize(
    ("spare_m", "left", "badge"),
    [
        (70.0, "about 5 cuts of the usual length", None),
        (300.0, "", None),
        (13.0, "about 1 cut of the usual length", NEARLY),
        (-1.0, "", BELOW),
    ],
)
def test_how_near_the_least_usable_length_is_said_in_cuts_like_those_before(cast, spare_m, left, badge):
    builders.make_reel()
    builders.log_cut(cast, metres="12.5", at=later(days=-3))
    builders.signed_count(cast)
    ReelType.objects.update(least_length_m=Decimal(f"{by_model() - spare_m:.3f}"))
    assert (cable().left, cable().badge) == (left, badge)


def test_without_a_cut_to_go_by_no_number_of_cuts_is_named(cast):
    builders.make_reel()
    ReelType.objects.update(least_length_m=Decimal(150))
    builders.signed_count(cast)
    assert (cable().left, cable().badge) == ("", None)


def test_a_reel_of_unknown_length_says_so(cast):
    builders.make_reel()
    Reel.objects.update(cable_length_m=None)
    assert (cable().by_log, cable().by_count, cable().left) == ("—", "", "")
