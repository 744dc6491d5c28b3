"""Moves: a reel sent, received or called back; and those of one's sites."""

from dataclasses import replace
from datetime import datetime
from typing import Any

from rest_framework import serializers

from inspections.api.reel_views import ReelEndpoint
from inspections.domain.act_fields import CallBackFields, ReceiptFields, SendingFields
from inspections.services import moves
from reels import access as reel_access
from reels.api.act_fields import body_of
from reels.api.endpoints import Call, Endpoint, create, read
from reels.api.fields import Maybe, Moment, Number, Text, Word, YesNo
from reels.api.forms import Out, PageQuery
from reels.api.paging import Page
from reels.api.serializers import PersonOut
from reels.domain.words import MoveState
from reels.models import Move
from reels.queries import matching

SendingIn = body_of(SendingFields, "SendingIn")
ReceiptIn = body_of(ReceiptFields, "ReceiptIn")
CallBackIn = body_of(CallBackFields, "CallBackIn")


class MovesQuery(PageQuery):
    reel = serializers.CharField(required=False, max_length=40)
    from_site = serializers.CharField(required=False, max_length=30)
    to_site = serializers.CharField(required=False, max_length=30)
    state = Word(MoveState, required=False)


class MoveOut(Out):
    id = Number()
    reel = Text(source="reel.serial")
    state = Word(MoveState, help_text="`late`: under way beyond the usual days of the site that it was sent to.")
    from_site = Text(source="from_site.code")
    to_site = Text(source="to_site.code")
    sent_at = Moment()
    sent_by = PersonOut()
    recorded_at = Moment(help_text="When the sending was recorded.")
    document = Maybe()
    late_at = Moment(help_text="From when it is late, by the usual days of the site that it was sent to.")
    ended_at = Moment(allow_null=True, help_text="When it was received, or called back.")
    ended_by = PersonOut(allow_null=True)
    end_recorded_at = Moment(allow_null=True)
    received_site = Text(source="received_site.code", default=None, allow_null=True, help_text="Where it came to.")
    found_sound = YesNo(allow_null=True, help_text="How it came.")
    words = Maybe(source="end_words", help_text="Its condition on receipt, or why it was called back.")


def _told(move: Move, at: datetime) -> Move:
    """With where it stands at that moment."""
    vars(move)["state"] = move.state_at(at)
    return move


class MoveListEndpoint(Endpoint):
    @read("moves_list", MoveOut, query=MovesQuery, is_page=True)
    def get(self, call: Call) -> Page:
        """The moves from and to one's sites, the newest first."""
        rows = reel_access.moves_of_sites(call.actor.person, call.at)
        rows = matching(rows, call.query, reel="reel__serial", from_site="from_site__code", to_site="to_site__code")
        if state := call.query.get("state"):
            rows = rows.filter(Move.in_state(MoveState(state), call.at))
        page = call.page(rows, "-id")
        return replace(page, results=[_told(row, call.at) for row in page.results])


class SendingEndpoint(ReelEndpoint):
    @create("reels_send", MoveOut, SendingIn)
    def post(self, call: Call, serial: str) -> Move:
        """Send the reel to another site. It is in neither's stock until it is received; its setup values end."""
        payload: dict[str, Any] = {**call.payload, "site_code": call.payload["site"]}
        del payload["site"]
        return _told(moves.send(serial=serial, actor=call.actor, at=call.at, **payload), call.at)


class ReceiptEndpoint(ReelEndpoint):
    @create("reels_receive_sent", MoveOut, ReceiptIn)
    def post(self, call: Call, serial: str) -> Move:
        """Record that the reel came, and how it was found: not sound, it is held. Another site is asked about."""
        facts = ReceiptFields(**call.payload)
        return _told(moves.receive(serial=serial, facts=facts, actor=call.actor, at=call.at), call.at)


class CallBackEndpoint(ReelEndpoint):
    @create("reels_call_back", MoveOut, CallBackIn)
    def post(self, call: Call, serial: str) -> Move:
        """Take back a sending: the reel is in the stock of the site that sent it."""
        return _told(moves.call_back(serial=serial, actor=call.actor, at=call.at, **call.payload), call.at)
