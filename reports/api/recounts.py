"""Counts worth making next, over the API."""

from typing import Any

from rest_framework import serializers

from inspections.domain.words import ReelStatus
from reels import access
from reels.api.endpoints import Call, Endpoint, read
from reels.api.fields import Metres, Moment, Text, Word
from reels.api.forms import Out, Query
from reports.api.drift_serializers import Probability, StandingOut
from reports.services import assessments, recounts


class RecountsQuery(Query):
    site = serializers.CharField(required=False, max_length=30)


class RecountOut(Out):
    """A reel, its newest count, and what one more would tell of an unlogged cut before it."""

    reel = Text(source="reel.serial")
    site = Text(source="reel.site.code")
    status = Word(ReelStatus, source="reel.status")
    last_counted_at = Moment(source="interval.to_at")
    layers = serializers.IntegerField()
    wraps = serializers.IntegerField()
    p_unlogged_cut = Probability(source="worth.p_cut")
    cut_m = Metres(source="interval.cut_m", help_text="Given that there was one; 90 % interval.")
    cut_low_m = Metres(source="interval.cut_low_m")
    cut_high_m = Metres(source="interval.cut_high_m")
    doubt_bits = Probability(source="worth.doubt_bits", help_text="0: settled; 1: even odds.")
    worth_bits = Probability(source="worth.worth_bits", help_text="By how much one more count should lower that.")
    settled_share = Probability(source="worth.settled_share")
    worth_nats = Probability(source="worth.worth_nats", help_text="The same as worth_bits, in nats.")
    doubt_m = Metres(source="worth.doubt_m", help_text="Of the metres missing: standard deviation.")
    worth_m = Metres(source="worth.worth_m", help_text="By how much one more count should lower that.")
    explanation = Text(source="interval.explanation")


class RecountsOut(StandingOut):
    results = RecountOut(many=True, help_text="The most telling first.")


class RecountListEndpoint(Endpoint):
    @read("recounts_list", RecountsOut, query=RecountsQuery, may_be_stale=True, refuses=(409,))
    def get(self, call: Call) -> dict[str, Any]:
        """The counts worth making next: where one more would tell most whether the newest shows a cut, or a slip."""
        standing = assessments.fleet_standing()
        readable = access.readable_reels(call.actor.person, call.at)
        worth = recounts.counts_worth_making(readable, call.query)
        return {"behind": standing.behind, "since": standing.since, "results": worth}
