"""Forms and answers of counts and their sign-offs."""

from typing import Any

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from inspections.api.finding_serializers import FindingOut
from inspections.api.reel_serializers import CountedLength
from inspections.api.working_serializers import MOST_WRAPS, CountOut, ReadingIn, WorkingOut
from inspections.domain.act_fields import (
    GaugeTakingFields,
    HelpFields,
    ReleaseFields,
    SignOffFields,
    ThirdReadingFields,
)
from inspections.domain.keying import FIELDS, LONGEST_SERIAL
from inspections.domain.reading import Half, OpenSide, Outcome, Unwind
from inspections.domain.third_reading import AgreesWith
from inspections.domain.validity import Validity
from inspections.domain.words import InspectionState, Meaning, Point, Role
from inspections.services.opening import Preparation
from reels.api.act_fields import body_of, takes
from reels.api.fields import (
    USERNAME,
    Degrees,
    Json,
    Maybe,
    Moment,
    Named,
    Number,
    Text,
    Whole,
    Word,
    YesNo,
)
from reels.api.forms import Form, Out, PageQuery
from reels.api.serializers import PersonOut
from reels.domain.words import Parity


@takes(Preparation)
class PreparationIn(Form):
    """What must be so before the first reading; the confirmations must be true."""

    technician = Named(USERNAME, allow_null=True, default=None, help_text="Named by a script; null in a session.")


class InspectionsQuery(PageQuery):
    reel = serializers.CharField(required=False, max_length=40)
    state = Word(InspectionState, required=False)


class InspectionOut(Out):
    id = Number()
    reel = Text(
        source="shown_serial",
        allow_null=True,
        help_text="Its serial; null until both have keyed it from the data plate.",
    )
    reel_type = Text(source="reel.type.code")
    state = Word(InspectionState)
    done_at = Moment()
    recorded_at = Moment()
    from_paper = YesNo()
    opened_by = PersonOut()
    rereads = Whole()
    layers = Whole(allow_null=True)
    wraps = Whole(allow_null=True)
    parity = Word(Parity, allow_null=True)
    length = CountedLength(allow_null=True, help_text="Cable that the count stands for; the lead is not in it.")
    ended_at = Moment(allow_null=True)
    end_reason = Maybe()


class PreparationOut(Out):
    work_order = Text()
    publication = Text()
    publication_revision = Text()
    publication_reason = Maybe()
    cable_condition = Maybe(help_text="In words, of counts before each part was found sound or not; else null.")
    winding_quality = Maybe(help_text="As above.")
    cable_sound = YesNo(allow_null=True, help_text="null: of counts before it was asked for; so are the next four.")
    winding_sound = YesNo(allow_null=True)
    drum_sound = YesNo(allow_null=True)
    end_fitting_sound = YesNo(allow_null=True)
    scales_sound = YesNo(allow_null=True)
    respooled = YesNo()
    machine = Text(source="machine.serial", default=None, allow_null=True, help_text="That the wrap gauge belongs to.")
    wrap_gauge = Maybe(help_text="null: not taken yet.")


class ParticipantOut(Out):
    role = Word(Role)
    person = PersonOut()
    joined_at = Moment()


class KeyedOut(Out):
    role = Word(Role)
    attempt = Whole()
    person = PersonOut()
    keyed_at = Moment()
    values = Json(allow_null=True, help_text="Its reading fields; null while they are blind to you.")
    photo = Maybe(help_text="SHA-256 of the photo kept with it, if there is one and its values are shown to you.")


class PointOut(Out):
    point = Word(Point)
    agreed = YesNo(help_text="Whether everybody who keys it agrees.")
    keyed = KeyedOut(many=True)


class ThirdReadingOut(Out):
    id = Number()
    point = Word(Point)
    attempt = Whole(help_text="Of the two, at which they differed.")
    asked_by = PersonOut()
    asked_at = Moment()
    taken_back_at = Moment(allow_null=True)
    read_by = PersonOut(allow_null=True)
    read_at = Moment(allow_null=True)
    agrees_with = Word(AgreesWith, allow_null=True, help_text="Whose value it is the same as; null: not read.")
    values = Json(allow_null=True, help_text="Its reading field; null while it is blind, and before it is read.")


class ReadingOut(Out):
    number = Whole()
    outcome = Word(Outcome, allow_null=True)
    ended_at = Moment(allow_null=True)
    points = PointOut(many=True)
    third_readings = ThirdReadingOut(many=True)
    working = WorkingOut(allow_null=True)


class ReferralOut(Out):
    referred_at = Moment()
    referred_by = PersonOut()
    why = Text()
    proposed = CountOut(allow_null=True)
    released_at = Moment(allow_null=True)
    released_by = PersonOut(allow_null=True)
    decision = Maybe()
    reason = Maybe()


class SignOffOut(Out):
    meaning = Word(Meaning)
    person = PersonOut()
    signed_at = Moment()
    record_digest = Text()
    digest = Text()


class VoidOut(Out):
    requested_by = PersonOut()
    requested_at = Moment()
    reason = Text()
    confirmed_by = PersonOut(allow_null=True)
    confirmed_at = Moment(allow_null=True)


class ValidityOut(Out):
    word = Word(Validity, help_text="At the time of the answer. See records.md.")
    since = Moment(allow_null=True, help_text="null while it stands.")
    why = Maybe()
    by = Whole(allow_null=True, max_value=None, help_text="The inspection that superseded it.")


class NextOut(Out):
    act = Word(
        ["record_finding", "close_finding", "key", "take_gauge", "third_reading", "sign", "release", "return_gauge"]
    )
    point = Word(Point, allow_null=True)
    role = Word(Role, allow_null=True)
    meaning = Word(Meaning, allow_null=True)


class InspectionDetailOut(InspectionOut):
    preparation = PreparationOut(source="*")
    parameters = Json(help_text="The rule parameters under which it is worked out.")
    participants = ParticipantOut(many=True, source="shown_participants")
    readings = ReadingOut(many=True, source="shown_readings")
    findings = FindingOut(many=True, source="shown_findings", help_text="At it, or open when it was begun.")
    referrals = ReferralOut(many=True, source="shown_referrals")
    sign_offs = SignOffOut(many=True, source="shown_sign_offs")
    void = VoidOut(source="shown_void", allow_null=True)
    validity = ValidityOut(
        source="shown_validity", allow_null=True, help_text="Whether the signed record stands; null until both signed."
    )
    next = NextOut(many=True, source="shown_next", help_text="What is open now.")


class ThirdKeyingIn(Form):
    """What a third person reads at the point that they were asked for: that field, and no others."""

    scale_left = Whole(required=False, allow_null=True, max_value=MOST_WRAPS)
    scale_right = Whole(required=False, allow_null=True, max_value=MOST_WRAPS)
    hand_wraps = Whole(required=False, max_value=MOST_WRAPS)
    gauge_wraps = Whole(required=False, max_value=MOST_WRAPS)


class KeyingIn(Form):
    """What one sees at one point: the point's own fields, and no others."""

    point = Word(Point)
    role = Word(Role)
    serial = Text(required=False, max_length=LONGEST_SERIAL)
    scale_left = Whole(required=False, allow_null=True, max_value=MOST_WRAPS)
    scale_right = Whole(required=False, allow_null=True, max_value=MOST_WRAPS)
    open_side = Word(OpenSide, required=False)
    unwind = Word(Unwind, required=False)
    hand_wraps = Whole(required=False, max_value=MOST_WRAPS)
    gauge_face = Word(Parity, required=False)
    gauge_wraps = Whole(required=False, max_value=MOST_WRAPS)
    crossover_half = Word(Half, required=False)
    crossover_deg = Degrees(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        point = Point(attrs.pop("point"))
        others = attrs.keys() - {"role", *FIELDS[point]}
        if others:
            raise ValidationError({name: [ErrorDetail(f"{name} is not keyed at {point}.", "other_point")]
                                   for name in sorted(others)})  # fmt: skip
        return {"point": point, "role": Role(attrs.pop("role")), "fields": attrs}


class TechnicianReadingIn(ReadingIn):
    person = Named(USERNAME)
    serial = Text(
        max_length=LONGEST_SERIAL, help_text="Of the reel, in full, as this person read it off its data plate."
    )


class VerifierReadingIn(TechnicianReadingIn):
    """The hold points."""

    unwind = None  # type: ignore[assignment]  # the technician's alone


@takes(GaugeTakingFields)
class ReadingGaugeIn(Form):
    is_back = YesNo(help_text="Whether it is in its place in its machine again; else it stays out.")


class BothReadingsIn(Form):
    gauge = ReadingGaugeIn(allow_null=True, default=None, help_text="It was read with; null: the one in hand.")
    technician = TechnicianReadingIn()
    verifier = VerifierReadingIn()


ThirdReadingIn = body_of(ThirdReadingFields, "ThirdReadingIn")
HelpIn = body_of(HelpFields, "HelpIn")
ReleaseIn = body_of(ReleaseFields, "ReleaseIn")
SignOffIn = body_of(SignOffFields, "SignOffIn")
