"""Counts of a type whose rules are not confirmed, or were changed since."""

import pytest

from inspections.domain.words import InspectionState
from inspections.errors import RulesChanged, RulesNotConfirmed
from inspections.services import counting
from reels.domain.type_rules import TypeRule, rules_in_words
from reels.models import ReelType
from reels.services import register
from reels.services.history import Actor
from tests import builders
from tests.builders import Cast, by_administrator

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    return Cast.as_needed()


def unconfirmed_reel():
    builders.make_publication()
    return builders.make_reel(type=builders.make_type(is_confirmed=False))


def test_a_count_by_rules_that_nobody_confirmed_is_worked_out_and_not_signed(cast):
    reel = unconfirmed_reel()
    count = builders.read(cast, builders.open_count(cast))
    assert (count.state, count.layers) == (InspectionState.AWAITING_SIGN_OFF, 12)
    with pytest.raises(RulesNotConfirmed, match="first says for each rule in which publication it is written"):
        builders.sign_both(cast, count)
    builders.confirm_rules(reel.type)
    count = type(count).objects.get(pk=count.pk)
    assert builders.sign_both(cast, count).state == InspectionState.SIGNED


def test_nothing_is_issued_while_the_rules_are_not_confirmed(cast):
    reel = builders.make_reel()
    builders.signed_count(cast)
    register.change(reel.type, lead_wraps=2, **by_administrator())
    with pytest.raises(RulesNotConfirmed, match="no setup values come from one"):
        builders.issued(cast)
    builders.confirm_rules(reel.type)
    values = builders.issued(cast)  # the signed count keeps the rules that it was worked by
    assert (values.layers, values.wraps) == (12, 10)


def test_an_open_count_is_read_again_by_the_rules_as_they_are_now(cast):
    reel = builders.make_reel()
    count = builders.read(cast, builders.open_count(cast))
    register.change(reel.type, lead_wraps=3, **by_administrator())
    builders.confirm_rules(reel.type)
    with pytest.raises(RulesChanged, match="rules of reel type w28 were changed: lead"):
        builders.sign_both(cast, type(count).objects.get(pk=count.pk))
    again = counting.read_again(
        inspection_id=count.pk, reason="the lead was changed", actor=Actor(cast.technician), at=builders.NOW
    )
    assert again.parameters["lead_wraps"] == 3
    count = builders.read(cast, builders.take_gauge(cast, again))
    assert (count.layers, count.wraps) == (12, 8)
    assert builders.sign_both(cast, count).state == InspectionState.SIGNED


def test_a_count_names_the_paragraphs_by_which_it_is_worked(cast):
    builders.make_reel()
    count = builders.open_count(cast)
    assert count.parameters["sources"]["lead"] == "LWS 12-3, revision C, para. 4.2"


def test_a_type_whose_crossover_begins_no_layer_refers_every_count(cast):
    reel = builders.make_reel()
    register.change(reel.type, crossover_begins_layer=False, **by_administrator())
    assert not ReelType.objects.get().rules_confirmed_at  # it is a part of the rule of the arc
    builders.confirm_rules(reel.type)
    count = builders.read(cast, builders.open_count(cast))
    assert (count.state, count.layers) == (InspectionState.REFERRED, None)
    assert "every count is referred" in rules_in_words(count.parameters)[TypeRule.ARC]
