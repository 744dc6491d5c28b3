"""Readings that do not do: read again, referred after three, released or cancelled; all that was keyed is kept."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from inspections.domain.words import Act, Decision, InspectionState, Meaning, Point, Role
from inspections.errors import AlreadyKeyed, NotAuthorised, NothingProposed, NotReferred, WrongState
from inspections.models import Inspection, Keying, Reading, Referral
from inspections.services import counting, signing
from reels.errors import OnlyInPerson
from reels.services.history import Actor
from tests import builders, stories
from tests.builders import NOW, PASSWORD, later

STEPPED_DOWN: dict[str, Any] = {
    "scale_left": 11, "scale_right": 12, "open_side": "left", "unwind": "left_to_right", "hand_wraps": 1,
    "gauge_face": "odd", "gauge_wraps": 1,
}  # fmt: skip


def fresh(inspection: Inspection) -> Inspection:
    return Inspection.objects.get(pk=inspection.pk)


def numbers(inspection: Inspection) -> list[tuple[int, str]]:
    return list(inspection.readings.values_list("number", "outcome"))


# Reread -------------------------------------------------------------------------------------------------------------


def test_a_reading_that_breaks_a_rule_is_followed_by_a_fresh_one(cast):
    inspection = builders.read(cast, builders.open_count(cast), gauge_face="odd", gauge_wraps=17)
    assert (inspection.state, inspection.rereads, inspection.layers) == (InspectionState.OPEN, 1, None)
    assert numbers(inspection) == [(1, "reread"), (2, "")]
    working: Any = inspection.readings.get(number=1).working
    assert [problem["code"] for problem in working["problems"]] == ["gauge_wrong_face"]
    inspection = builders.read(cast, inspection)
    assert (inspection.state, inspection.layers, inspection.rereads) == (InspectionState.AWAITING_SIGN_OFF, 12, 1)
    assert Keying.objects.count() == 30


def test_a_mistake_is_caught_as_soon_as_the_points_keyed_show_it(cast):
    inspection = stories.at_the_scales(cast)
    stories.key_both(cast, inspection, Point.SCALE_LEFT, Point.SCALE_RIGHT)
    stories.key(cast, inspection, Point.UNWIND, unwind="left_to_right")
    assert numbers(inspection) == [(1, "reread"), (2, "")]
    assert fresh(inspection).rereads == 1


def test_a_point_on_which_two_differ_is_keyed_again_by_both_and_each_attempt_is_kept(cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=14)
    stories.key(cast, inspection, Point.SCALE_LEFT, Role.VERIFIER)
    stories.key_the_rest(cast, inspection)
    inspection = fresh(inspection)
    assert (inspection.state, inspection.rereads) == (InspectionState.AWAITING_SIGN_OFF, 1)
    left = Keying.objects.filter(point=Point.SCALE_LEFT).values_list("attempt", "role", "value")
    assert list(left) == [(1, "technician", 14), (1, "verifier", 13), (2, "technician", 13), (2, "verifier", 13)]
    assert numbers(inspection) == [(1, "accepted")]


def test_a_difference_is_counted_once_however_much_is_keyed_before_it_is_settled(cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=14)
    stories.key(cast, inspection, Point.SCALE_LEFT, Role.VERIFIER)
    stories.key_both(cast, inspection, Point.SCALE_RIGHT, Point.UNWIND)
    assert fresh(inspection).rereads == 1
    stories.key_both(cast, inspection, Point.SCALE_LEFT, Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER)
    assert (fresh(inspection).state, fresh(inspection).rereads) == (InspectionState.AWAITING_SIGN_OFF, 1)


def key_scales(cast, inspection, role, left, right):
    person = cast.technician if role is Role.TECHNICIAN else cast.verifier
    given = {Point.SCALE_LEFT: {"scale_left": left}, Point.SCALE_RIGHT: {"scale_right": right}}
    return counting.key_points(inspection_id=inspection.pk, role=role, by_point=given, actor=Actor(person), at=NOW)


def test_two_scales_keyed_as_one_attempt_are_read_again_as_one(cast):
    inspection = stories.at_the_scales(cast)
    key_scales(cast, inspection, Role.TECHNICIAN, 13, 12)
    entries = inspection.reel.chain.entries.count()
    key_scales(cast, inspection, Role.VERIFIER, 12, 11)
    assert fresh(inspection).rereads == 1
    assert inspection.reel.chain.entries.count() == entries + 1
    for role in (Role.TECHNICIAN, Role.VERIFIER):
        key_scales(cast, inspection, role, 13, 12)
    assert (fresh(inspection).rereads, fresh(inspection).state) == (1, InspectionState.OPEN)
    stories.key_both(cast, inspection, Point.UNWIND, Point.HAND_COUNT, Point.GAUGE, Point.CROSSOVER)
    assert (fresh(inspection).state, fresh(inspection).rereads) == (InspectionState.AWAITING_SIGN_OFF, 1)


def test_two_scales_that_differ_three_times_refer_the_count(cast):
    inspection = stories.at_the_scales(cast)
    for rereads in (1, 2, 3):
        key_scales(cast, inspection, Role.TECHNICIAN, 13, 12)
        key_scales(cast, inspection, Role.VERIFIER, 12, 11)
        assert fresh(inspection).rereads == rereads
    assert fresh(inspection).state == InspectionState.REFERRED
    assert "the left scale and the right scale differently" in Referral.objects.get().why


def test_an_attempt_of_which_one_point_is_refused_keeps_none_of_it(cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT)
    with pytest.raises(AlreadyKeyed):
        key_scales(cast, inspection, Role.TECHNICIAN, 13, 12)
    assert list(Keying.objects.values_list("point", flat=True))[-1] == Point.SCALE_LEFT
    assert not Keying.objects.filter(point=Point.SCALE_RIGHT).exists()


# Referred -----------------------------------------------------------------------------------------------------------


def test_three_rereads_refer_the_count(cast):
    inspection = builders.open_count(cast)
    for rereads in (1, 2):
        inspection = builders.read(cast, inspection, hand_wraps=11)
        assert (inspection.state, inspection.rereads) == (InspectionState.OPEN, rereads)
    inspection = builders.read(cast, inspection, hand_wraps=11)
    assert (inspection.state, inspection.rereads) == (InspectionState.REFERRED, 3)
    assert Referral.objects.get().why.startswith("Read 3 times. ")
    assert numbers(inspection) == [(1, "reread"), (2, "reread"), (3, "reread")]
    with pytest.raises(WrongState, match="is referred; this needs one that is open"):
        builders.read(cast, inspection)


def test_three_differences_refer_the_count(cast):
    inspection = stories.at_the_scales(cast)
    for _ in range(3):
        stories.key(cast, inspection, Point.SCALE_LEFT, scale_left=14)
        stories.key(cast, inspection, Point.SCALE_LEFT, Role.VERIFIER)
    assert (fresh(inspection).state, fresh(inspection).rereads) == (InspectionState.REFERRED, 3)
    assert "the left scale differently" in Referral.objects.get().why
    stories.release(cast, inspection)
    assert numbers(inspection) == [(1, "referred"), (2, "")]
    assert (fresh(inspection).state, fresh(inspection).rereads) == (InspectionState.OPEN, 0)


@pytest.mark.parametrize("who", ["technician", "verifier"])
def test_either_person_may_ask_for_help(cast, who):
    inspection = builders.open_count(cast)
    counting.ask_for_help(inspection_id=inspection.pk, remark="frayed", actor=Actor(getattr(cast, who)), at=NOW)
    assert fresh(inspection).state == InspectionState.REFERRED
    assert (Referral.objects.get().why, Referral.objects.get().proposed) == ("Help was asked for: frayed", None)


def test_help_is_not_for_bystanders(cast):
    inspection = builders.open_count(cast)
    with pytest.raises(NotAuthorised):
        counting.ask_for_help(inspection_id=inspection.pk, remark="?", actor=Actor(cast.colleague), at=NOW)


def test_an_unusual_count_of_a_type_that_holds_them_is_referred_with_what_it_would_give(cast):
    builders.make_reel("LW-0002", type=builders.make_type("w28-hold", unusual="hold", unusual_publication=""))
    inspection = builders.read(cast, builders.open_count(cast, "LW-0002"), **STEPPED_DOWN)
    assert (inspection.state, inspection.layers) == (InspectionState.REFERRED, None)
    assert Referral.objects.get().proposed == {"layers": 10, "wraps": 27, "parity": "even"}
    inspection = stories.release(cast, inspection, Decision.ACCEPT_PROPOSED, later(hours=1))
    assert (inspection.state, inspection.layers, inspection.wraps) == (InspectionState.AWAITING_SIGN_OFF, 10, 27)
    referral = Referral.objects.get()
    assert (referral.released_by, referral.released_at, referral.decision, referral.reason) == (
        cast.releaser, later(hours=1), "accept_proposed", "looked at it",
    )  # fmt: skip
    assert builders.sign_both(cast, inspection, later(hours=2)).state == InspectionState.SIGNED


def test_an_unusual_count_may_be_read_again_instead(cast):
    builders.make_reel("LW-0002", type=builders.make_type("w28-hold", unusual="hold", unusual_publication=""))
    inspection = builders.read(cast, builders.open_count(cast, "LW-0002"), **STEPPED_DOWN)
    stories.release(cast, inspection)
    inspection = builders.read(cast, inspection)
    assert (inspection.layers, inspection.wraps) == (12, 10)


@pytest.mark.parametrize("who", ["technician", "verifier", "control", "colleague"])
def test_only_an_authorised_person_releases_a_referred_count(cast, who):
    inspection = stories.ask_for_help(cast, builders.open_count(cast))
    cast.releaser = getattr(cast, who)
    with pytest.raises(NotAuthorised, match="to decide"):
        stories.release(cast, inspection)
    assert fresh(inspection).state == InspectionState.REFERRED


@pytest.mark.parametrize("via", ["token bench", "command x"])
def test_a_script_releases_and_cancels_nothing(cast, via):
    inspection = stories.ask_for_help(cast, builders.open_count(cast))
    actor = Actor(cast.releaser, via=via)
    with pytest.raises(OnlyInPerson):
        counting.release(inspection_id=inspection.pk, decision=Decision.READ_AGAIN, reason="", actor=actor, at=NOW)
    with pytest.raises(OnlyInPerson):
        counting.cancel(inspection_id=inspection.pk, reason="", actor=actor, at=NOW)


def test_only_what_is_referred_is_released_and_only_what_is_proposed_is_accepted(cast):
    inspection = builders.open_count(cast)
    with pytest.raises(NotReferred):
        stories.release(cast, inspection)
    stories.ask_for_help(cast, inspection)
    with pytest.raises(NothingProposed):
        stories.release(cast, inspection, Decision.ACCEPT_PROPOSED)
    with pytest.raises(IntegrityError), transaction.atomic():
        Referral.objects.create(inspection=inspection, referred_at=NOW, referred_by=cast.technician, why="again")


def test_a_count_that_was_worked_out_and_referred_loses_its_result_when_it_is_read_again(cast):
    inspection = stories.ask_for_help(cast, builders.read(cast, builders.open_count(cast)))
    stories.release(cast, inspection)
    inspection = fresh(inspection)
    assert (inspection.state, inspection.layers, inspection.wraps, inspection.parity) == ("open", None, None, "")


# Read again, and given up -------------------------------------------------------------------------------------------


def test_a_count_that_is_worked_out_may_be_read_again_before_it_is_signed(cast):
    inspection = builders.read(cast, builders.open_count(cast))
    counting.read_again(inspection_id=inspection.pk, reason="a surprise", actor=Actor(cast.technician), at=NOW)
    inspection = fresh(inspection)
    assert (inspection.state, inspection.layers, inspection.parity) == (InspectionState.OPEN, None, "")
    inspection = builders.read(cast, inspection, hand_wraps=13, gauge_wraps=13)
    assert (inspection.layers, inspection.wraps) == (12, 11)
    assert numbers(inspection) == [(1, "accepted"), (2, "accepted")]


@pytest.mark.parametrize("act", ["read_again", "ask_for_help"])
def test_what_one_person_has_signed_is_neither_read_again_nor_referred(cast, act):
    inspection = builders.read(cast, builders.open_count(cast))
    signing.sign(inspection_id=inspection.pk, meaning=Meaning.COUNTED, password=PASSWORD, actor=Actor(cast.technician),
                 at=NOW)  # fmt: skip
    why = {"read_again": "reason", "ask_for_help": "remark"}[act]
    with pytest.raises(WrongState, match="signed by one person"):
        getattr(counting, act)(inspection_id=inspection.pk, actor=Actor(cast.verifier), at=NOW, **{why: "?"})
    counting.cancel(inspection_id=inspection.pk, reason="a doubt", actor=Actor(cast.releaser), at=NOW)
    assert fresh(inspection).state == InspectionState.CANCELLED


def test_a_cancelled_count_keeps_everything_and_makes_way_for_another(cast):
    inspection = stories.at_the_scales(cast)
    stories.key(cast, inspection, Point.SCALE_LEFT)
    counting.cancel(inspection_id=inspection.pk, reason="end of shift", actor=Actor(cast.technician), at=later(hours=1))
    inspection = fresh(inspection)
    assert (inspection.state, inspection.ended_by, inspection.end_reason) == (
        InspectionState.CANCELLED, cast.technician, "end of shift",
    )  # fmt: skip
    assert (Keying.objects.filter(point=Point.SCALE_LEFT).count(), Reading.objects.count()) == (1, 1)
    assert builders.open_count(cast, at=later(hours=2)).pk != inspection.pk


def test_a_cancelled_count_ends_its_referral(cast):
    inspection = stories.ask_for_help(cast, builders.open_count(cast))
    counting.cancel(inspection_id=inspection.pk, reason="scrapped", actor=Actor(cast.releaser), at=NOW)
    referral = Referral.objects.get()
    assert (referral.decision, referral.released_by) == ("cancelled", cast.releaser)


@pytest.mark.parametrize("who", ["verifier", "colleague", "control"])
def test_a_count_is_cancelled_by_who_may_count_or_release(cast, who):
    inspection = builders.open_count(cast)
    with pytest.raises(NotAuthorised):
        counting.cancel(inspection_id=inspection.pk, reason="?", actor=Actor(getattr(cast, who)), at=NOW)


def test_nothing_more_happens_to_a_count_that_has_ended(cast):
    inspection = builders.signed_count(cast)
    theo = builders.make_person("theo", Act.COUNT, Act.VERIFY, Act.RELEASE)
    of_it: dict[str, Any] = {"inspection_id": inspection.pk, "actor": Actor(theo), "at": NOW}
    for act in (
        lambda: counting.key(point=Point.SCALE_LEFT, role=Role.TECHNICIAN, fields={"scale_left": 1}, **of_it),
        lambda: counting.ask_for_help(remark="?", **of_it),
        lambda: counting.read_again(reason="?", **of_it),
        lambda: counting.cancel(reason="?", **of_it),
        lambda: builders.read(cast, inspection),
    ):
        with pytest.raises(WrongState, match="is signed"):
            act()
    with pytest.raises(NotReferred):
        counting.release(decision=Decision.READ_AGAIN, reason="?", **of_it)
