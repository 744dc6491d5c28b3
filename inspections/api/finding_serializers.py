"""Forms and answers of findings."""

from rest_framework import serializers

from inspections.domain.act_fields import FindingFields, RemedyFields
from inspections.domain.findings import ReelPart, Remedy, Severity
from reels.api.act_fields import body_of
from reels.api.fields import CODE, Exact, Maybe, Moment, Named, Number, Text, Whole, Word, YesNo
from reels.api.forms import Form, Out, PageQuery
from reels.api.serializers import PersonOut
from reels.domain.words import Side

FindingIn = body_of(FindingFields, "FindingIn")
RemedyIn = body_of(RemedyFields, "RemedyIn")


class FindingKindIn(Form):
    reel_type = Named(CODE)
    part = Word(ReelPart)
    code = Named(CODE, max_length=30, help_text="Not `other`, which is every type's.")
    words = Text(max_length=80, help_text="What people call it.")
    least_severity = Word(Severity)


class FindingKindOut(Out):
    id = Number()
    reel_type = Text(source="reel_type.code")
    part = Word(ReelPart)
    code = Text()
    words = Text()
    least_severity = Word(Severity)
    is_offered = YesNo(help_text="Whether it is still recorded.")


class FindingKindsQuery(PageQuery):
    reel_type = serializers.CharField(required=False, max_length=30)
    part = Word(ReelPart, required=False)


class FindingsQuery(PageQuery):
    reel = serializers.CharField(required=False, max_length=40)
    reel_type = serializers.CharField(required=False, max_length=30)
    inspection = serializers.IntegerField(required=False, min_value=1, max_value=2**63 - 1)
    part = Word(ReelPart, required=False)
    kind = serializers.CharField(required=False, max_length=30)
    severity = Word(Severity, required=False)
    open = Word(("yes", "no"), required=False)


class PlaceOut(Out):
    """Where a finding lies, as far as it was said, and what was seen."""

    layer = Whole(allow_null=True)
    side = Word(Side, allow_null=True)
    visible_wrap = Whole(allow_null=True, help_text="Counted from the flange of `side`.")
    length_from_end_m = Exact(allow_null=True, help_text="Metres along the cable from its outer end.")
    words = Text()


class FindingOut(Out):
    id = Number(source="row.pk")
    reel = Text(source="shown_reel", allow_null=True, help_text="Its serial; null while a count has still to read it.")
    inspection = Number(source="row.inspection_id", allow_null=True, help_text="The count at which it was recorded.")
    part = Word(ReelPart, source="row.part")
    kind = Text(source="row.kind")
    kind_words = Text(source="row.kind_words")
    severity = Word(Severity, source="row.severity")
    details = PlaceOut(allow_null=True, help_text="null while they may tell you what you have still to read.")
    photo = Maybe(source="photo_digest", help_text="SHA-256 of its photo, if there is one and it is shown to you.")
    recorded_at = Moment(source="row.recorded_at")
    recorded_by = PersonOut(source="row.recorded_by")
    lowered_at = Moment(source="row.lowered_at", allow_null=True)
    lowered_by = PersonOut(source="row.lowered_by", allow_null=True)
    lower_reason = Maybe(source="row.lower_reason")
    closed_at = Moment(source="row.closed_at", allow_null=True)
    closed_by = PersonOut(source="row.closed_by", allow_null=True)
    remedy = Word(Remedy, source="row.remedy", allow_null=True)
    close_reason = Maybe(source="row.close_reason")


class FindingCountOut(Out):
    """Findings of one kind on the reels of one type."""

    reel_type = Text()
    part = Word(ReelPart)
    kind = Text()
    kind_words = Text(help_text="As it was called last.")
    recorded = serializers.IntegerField()
    open = serializers.IntegerField()
    stops = serializers.IntegerField(help_text="Of those that are open.")
    reels = serializers.IntegerField(help_text="On how many reels it was ever recorded.")
