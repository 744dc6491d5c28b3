"""Reels sent from site to site: in neither's stock on the way, received where they came to, or called back."""

import json
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import Q

from inspections.domain.act_fields import ReceiptFields
from inspections.domain.words import Act
from inspections.errors import CountAlreadyOpen, NotAuthorised, OutOfOrder
from inspections.models import ReelStatusRow
from inspections.queries.status import numbers_by_status
from inspections.services import maintenance, moves, setup
from reels.access import readable_sites, reel_for_read
from reels.domain.words import MoveState
from reels.errors import (
    NotFound,
    OutOfTime,
    ReceivedElsewhere,
    ReelInTransit,
    ReelNotInTransit,
    ValueNotTaken,
)
from reels.models import Move, Reel
from reels.services import register
from reels.services.history import Actor, record_act
from reports.services.verification import check_records
from tests import builders
from tests.builders import NOW, by_administrator, later


@pytest.fixture
def control(cast):
    return {"serial": "LW-0001", "actor": Actor(cast.control), "at": later(hours=1)}


def acts():
    return [entry.act for entry in Reel.objects.get().chain.entries.order_by("seq")]


def test_on_its_way_a_reel_is_in_neither_stock_and_seen_by_both_sites(cast):
    move = builders.sent(cast, document="SN-4")
    row = ReelStatusRow.objects.get()
    assert (row.status, row.site_id, row.since) == ("in_transit", None, NOW)
    assert (move.from_site.code, move.to_site.code, move.sent_by) == ("kettle-point", "aldermere", cast.control)
    for person in (cast.control, cast.stranger):
        sites = Q(site__in=readable_sites(person, NOW))
        assert numbers_by_status(sites) == {}
        assert reel_for_read("LW-0001", person, NOW).serial == "LW-0001"
    builders.received(cast, at=later(days=1), words="a scratch")
    row.refresh_from_db()
    assert (row.status, row.site and row.site.code) == ("awaiting_count", "aldermere")
    assert acts() == ["reel_received", "sent", "received"]
    with pytest.raises(NotFound):
        reel_for_read("LW-0001", cast.control, later(days=1))


def test_nothing_is_done_to_it_on_its_way_and_the_refusal_says_where_it_was_sent_and_when(cast, control):
    builders.signed_count(cast)
    builders.make_machine()
    builders.sent(cast)
    why = "was sent from Kettle Point to Aldermere on 2026-03-02 09:00 UTC. Receive it there, or call it back"
    for act in (
        lambda: builders.open_count(cast, at=later(hours=1), has_gauge=False),
        lambda: setup.issue(machine_serial="RM-7", **control),
        lambda: maintenance.install(machine_serial="RM-7", **control),
        lambda: maintenance.retire(reason="lost", **control),
        lambda: builders.sent(cast, at=later(hours=1)),
    ):
        with pytest.raises(ReelInTransit, match=why):
            act()
    builders.log_event(cast, "incident", incident="dropped", words="off the pallet", at=later(hours=1))
    maintenance.place_hold(reason="dropped", **control)


def test_a_reel_that_is_counted_stays_until_the_count_is_over(cast):
    builders.open_count(cast)
    with pytest.raises(CountAlreadyOpen):
        builders.sent(cast)


def test_a_reel_that_came_in_a_bad_condition_is_held_and_it_is_said_what_is_wrong(cast):
    builders.sent(cast)
    with pytest.raises(ValueNotTaken, match="what is not sound about it"):
        builders.received(cast, sound=False, words=" ")
    builders.received(cast, sound=False, words="a bent flange", at=later(days=1))
    hold = Reel.objects.get().holds.get()
    assert hold.reason == "received from Kettle Point, not sound: a bent flange"
    assert ReelStatusRow.objects.get().status == "held"


def test_another_site_than_it_was_sent_to_is_asked_about(cast):
    stane = builders.make_site("stane", "Stane Field")
    there = builders.make_person("nell", *Act, site=stane)
    builders.sent(cast)
    facts: dict[str, Any] = {"serial": "LW-0001", "actor": Actor(there), "at": later(days=1)}
    with pytest.raises(ReceivedElsewhere, match="sent to Aldermere, not to Stane Field"):
        moves.receive(facts=ReceiptFields(site="stane", sound=True), **facts)
    answered = ReceiptFields(site="stane", sound=True, answers=["received_elsewhere"])
    received = moves.receive(facts=answered, **facts)
    assert (received.received_site, received.to_site.code, Reel.objects.get().site) == (stane, "aldermere", stane)


def test_who_receives_maintains_reels_of_the_type_where_it_came_to(cast):
    builders.sent(cast)
    facts: dict[str, Any] = {"serial": "LW-0001", "facts": ReceiptFields(sound=True), "at": NOW}
    with pytest.raises(NotAuthorised, match="at Aldermere"):
        moves.receive(actor=Actor(cast.control), **facts)
    elsewhere = builders.make_person("nell", site=builders.make_site("stane", "Stane Field"))
    for site in (None, "stane"):
        with pytest.raises(NotFound):
            moves.receive(actor=Actor(elsewhere), **{**facts, "facts": ReceiptFields(site=site, sound=True)})


def test_a_sending_is_called_back_by_who_maintains_reels_where_it_was_sent_from(cast, control):
    with pytest.raises(ReelNotInTransit, match="it is at Kettle Point"):
        moves.call_back(reason="?", **control)
    builders.sent(cast)
    with pytest.raises(NotAuthorised):
        moves.call_back(reason="?", **{**control, "actor": Actor(cast.stranger)})
    back = moves.call_back(reason="the boat did not go", **control)
    assert (back.end_words, back.ended_by, back.state_at(NOW)) == (
        "the boat did not go", cast.control, MoveState.CALLED_BACK,
    )  # fmt: skip
    assert ReelStatusRow.objects.get().status == "awaiting_count"


def test_both_ends_may_be_told_late_and_no_order_is_impossible(cast):
    builders.sent(cast, happened_at=later(hours=2), at=later(days=1))
    with pytest.raises(OutOfOrder, match="at 2026-03-02 10:00 UTC: the reel was sent at 2026-03-02 11:00 UTC"):
        builders.received(cast, happened_at=later(hours=1), at=later(days=1))
    with pytest.raises(OutOfTime):
        builders.received(cast, happened_at=later(days=2), at=later(days=1))
    move = builders.received(cast, happened_at=later(hours=5), at=later(days=1))
    assert (move.sent_at, move.recorded_at) == (later(hours=2), later(days=1))
    assert (move.ended_at, move.end_recorded_at) == (later(hours=5), later(days=1))


def test_nothing_was_done_while_it_was_on_its_way_nor_sent_again_before_it_came(cast, control):
    register.post_person(person=cast.technician, site=None, valid_from=later(days=-9), **by_administrator())
    register.post_person(person=cast.control, site=None, valid_from=later(days=-9), **by_administrator())
    builders.sent(cast)
    moves.call_back(reason="no lorry", **{**control, "at": later(hours=6)})
    with pytest.raises(ReelInTransit, match="was on its way until 2026-03-02 15:00"):
        builders.open_count(cast, at=later(hours=7), done_at=later(hours=3), has_gauge=False)
    builders.make_machine()
    late: dict[str, Any] = {"happened_at": later(hours=3), "at": later(hours=7)}
    with pytest.raises(ReelInTransit):
        maintenance.install(machine_serial="RM-7", **{**control, **late})
    for hours in (3, -1):  # while it was on its way, and before it was sent
        with pytest.raises(OutOfOrder, match="was on its way until 2026-03-02 15:00"):
            builders.sent(cast, happened_at=later(hours=hours), at=later(hours=7))
    builders.open_count(cast, at=later(hours=7), done_at=later(hours=-1), has_gauge=False)  # before it left


def test_it_is_late_after_the_usual_days_of_the_site_that_it_was_sent_to(cast):
    site = builders.make_site("aldermere", "Aldermere")
    register.change(site, transit_days=2, **by_administrator())
    move = builders.sent(cast)
    assert [move.state_at(later(hours=hours)) for hours in (47, 48)] == [MoveState.UNDER_WAY, MoveState.LATE]
    for state, found in ((MoveState.LATE, 1), (MoveState.UNDER_WAY, 1), (MoveState.RECEIVED, 0)):
        assert Move.objects.filter(Move.in_state(state, later(days=2))).count() == found


def test_the_database_takes_no_second_move_under_way_and_none_that_ends_before_it_began(cast):
    move = builders.sent(cast)
    names = [field.name for field in Move._meta.fields if field.name != "id"]
    wrongs: tuple[dict[str, Any], ...] = ({}, {"ended_at": later(days=-1)}, {"ended_at": NOW, "found_sound": True})
    for wrong in wrongs:
        with pytest.raises(IntegrityError), transaction.atomic():
            Move.objects.create(**{name: getattr(move, name) for name in names} | wrong)


def test_an_older_history_in_which_a_reel_was_there_as_soon_as_it_was_sent_is_whole_and_read(cast):
    reel, site = Reel.objects.get(), builders.make_site("aldermere", "Aldermere")
    with transaction.atomic(), record_act(reel.chain, "moved", Actor(cast.control), NOW, site=site.code) as act:
        act.change(reel, site=site)
    assert check_records().broken is None
    assert json.loads(bytes(reel.chain.entries.latest("seq").content))["facts"] == {"site": "aldermere"}
