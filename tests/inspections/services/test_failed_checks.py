"""A machine check that failed holds the reel and withdraws its values, in the same act."""

import pytest

from inspections.models import MachineCheck
from inspections.services import setup
from reels.errors import ValueNotTaken
from reels.models import Hold
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW


@pytest.fixture
def counted(cast):
    return builders.signed_count(cast)


def failed(person, values, kind="functional", remark="stopped 20 m early") -> MachineCheck:
    return setup.record_check(setup_id=values.pk, kind=kind, passed=False, remark=remark, actor=Actor(person), at=NOW)


@pytest.mark.parametrize(
    ("kind", "words"), [("functional", "functional check"), ("first_use", "reading after first use")]
)
def test_a_check_that_failed_holds_the_reel_and_ends_its_values_in_the_same_act(cast, counted, kind, words):
    values = builders.confirmed(cast, builders.issued(cast))
    failed(cast.setter, values, kind)
    values.refresh_from_db()
    assert values.withdrawn_why == f"the reel is held: the {words} failed: stopped 20 m early"
    hold = Hold.objects.get(reel=values.reel, ended_at=None)
    assert (hold.reason, hold.placed_by) == (f"the {words} failed: stopped 20 m early", cast.setter)
    assert values.reel.chain.entries.latest("seq").act == "machine_checked"


def test_a_check_that_failed_says_what_the_machine_did(cast, counted):
    values = builders.confirmed(cast, builders.issued(cast))
    with pytest.raises(ValueNotTaken, match="what the machine did"):
        failed(cast.setter, values, remark=" ")
    assert not MachineCheck.objects.exists()
