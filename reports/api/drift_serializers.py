"""Forms and answers of the drift report and its flags."""

from typing import Any

from rest_framework import serializers

from inspections.domain.act_fields import AssigneeFields, EndingFields, LookedIntoFields
from inspections.domain.drift import Ending, Slip
from inspections.domain.drift.records import SLIP_WORDS
from reels.api.act_fields import body_of
from reels.api.fields import USERNAME, Day, Metres, Moment, Named, Number, Text, Whole, Word
from reels.api.forms import Form, Out, PageQuery, Query
from reels.api.serializers import Awaited, LengthOut, PersonOut
from reports.domain.drift_rows import FALSE_SHARE
from reports.services.drift_evidence import CountEvidence


class Probability(serializers.FloatField):
    """0 to 1."""

    def to_representation(self, value: Any) -> Any:
        return round(float(value), 9)


class DriftQuery(Query):
    site = serializers.CharField(required=False, max_length=30)
    type = serializers.CharField(required=False, max_length=30)
    least_probability = serializers.FloatField(
        required=False, default=0.0, min_value=0, max_value=1, help_text="Rows of an unlogged cut at least so probable."
    )
    false_share = serializers.FloatField(
        required=False,
        default=FALSE_SHARE,
        min_value=0,
        max_value=0.99,
        help_text="Flag so that at most this share of the fleet's flags is expected to be false.",
    )
    as_of = Day(required=False, help_text="Use only what was recorded by the end of that day, UTC.")
    format = Word(("csv", "json"), required=False, help_text="Or an Accept header: text/csv.")


class IntervalOut(Out):
    """One pair of neighbouring counts; lengths in metres, those of a cut given that there was one, 90 % interval."""

    reel = Text()
    from_at = Moment()
    to_at = Moment()
    observed_change_m = Metres()
    logged_cut_m = Metres()
    p_unlogged_cut = Probability()
    p_when_counted = Probability(help_text="As it was believed on the day of the later count.")
    cut_m = Metres()
    cut_low_m = Metres()
    cut_high_m = Metres()
    flagged = Word(("yes", "no"))
    explanation = Text()


class StandingOut(Awaited):
    reels_behind = serializers.IntegerField(source="behind", help_text="Reels whose newest entries are not in it yet.")
    behind_since = Moment(source="since", allow_null=True, help_text="When the first of these entries was recorded.")


class SelfCheckOut(Out):
    """What the report may be expected to find, as it was measured last on fleets drawn like this one."""

    made_at = Moment()
    in_words = Text()


class DriftReportOut(StandingOut):
    as_of = Day(allow_null=True)
    self_check = SelfCheckOut(allow_null=True, help_text="null: never made, or as of a day.")
    results = IntervalOut(many=True, help_text="The most probable first.")


class FlagOut(Out):
    id = Number()
    reel = Text(source="reel.serial")
    from_at = Moment()
    to_at = Moment()
    p_unlogged_cut = Probability(help_text="When it was assigned.")
    explanation = Text()
    raised_at = Moment()
    raised_by = PersonOut()
    assigned_to = PersonOut()
    finding = serializers.CharField(allow_blank=True)
    looked_into_at = Moment(allow_null=True)
    looked_into_by = PersonOut(allow_null=True)
    ending = Word(Ending, allow_null=True)
    end_reason = serializers.CharField(allow_blank=True)
    closed_at = Moment(allow_null=True)
    closed_by = PersonOut(allow_null=True)


class RatesOut(Out):
    """Rates of the fleet, as sentences."""

    learned_at = Moment(allow_null=True, help_text="null: none are learned yet, and general ones hold.")
    in_words = serializers.ListField(child=serializers.CharField())


class CountSeenOut(Out):
    """One count, what it stands for, and what is inferred of it; lengths in metres."""

    at = Moment(source="posterior.at")
    layers = Whole(source="posterior.layers")
    wraps = Whole(source="posterior.wraps")
    length = LengthOut(allow_null=True, help_text="null: the type as it is now can't hold that count.")
    inferred_m = Metres(help_text="The middle of what is believed of the cable then.")
    course_m = Metres(help_text="The cable then, on the single most probable course of all counts.")
    p_slip = Probability(source="posterior.p_slip")
    likeliest_slip = Word(Slip, source="posterior.likeliest_slip")
    slip_in_words = serializers.SerializerMethodField()

    def get_slip_in_words(self, row: CountEvidence) -> str:
        return SLIP_WORDS[row.posterior.likeliest_slip]


class ReelDriftOut(Out):
    reel = Text()
    assessed_at = Moment(help_text="When these rows were worked out.")
    head = Text(help_text="The head of the reel's history then.")
    is_behind = serializers.BooleanField(help_text="Whether the reel's history or the rates have moved since.")
    rates = RatesOut()
    looseness_wraps = serializers.FloatField(
        allow_null=True, help_text="How much its counts spread on a half-full drum; null without a count."
    )
    recount_worth_bits = serializers.FloatField(
        help_text="What one more count now would tell of a cut before the newest: 0 nothing, 1 everything."
    )
    results = IntervalOut(many=True, help_text="In order of time.")
    counts = CountSeenOut(many=True, help_text="In order of time.")
    flags = FlagOut(many=True)


class FlagsQuery(PageQuery):
    state = Word(("open", "closed"), required=False)
    assigned_to = serializers.CharField(required=False, max_length=60)


class FlagIn(Form):
    reel = Text(max_length=40)
    from_at = Moment(help_text="As the report has them.")
    to_at = Moment()
    assigned_to = Named(USERNAME)


AssigneeIn = body_of(AssigneeFields, "AssigneeIn")
FindingIn = body_of(LookedIntoFields, "FlagFindingIn")
EndingIn = body_of(EndingFields, "EndingIn")
