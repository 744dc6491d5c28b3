"""Forms and answers of people, sites, reel types, machines, tokens and histories."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.fields import empty

from reels.api.act_fields import body_of
from reels.api.fields import (
    CODE,
    SERIAL,
    USERNAME,
    Exact,
    Json,
    Maybe,
    Metres,
    Moment,
    Named,
    Number,
    Secret,
    Text,
    Whole,
    Word,
    YesNo,
)  # fmt: skip
from reels.api.forms import Form, Out, PageQuery
from reels.domain import ledger
from reels.domain.act_fields import (
    CodeFields,
    EnrolmentFields,
    OwnPasswordFields,
    PasswordChangeFields,
    PublicationFields,
    ReasonFields,
    RuleSourceFields,
)
from reels.domain.words import AskedAt, Graduation, LinePlace, Scope, Side, UnusualRule, WindingSense
from reels.models.tasks import EVERY_STATE

ReasonIn = body_of(ReasonFields, "ReasonIn")


# People and sessions ------------------------------------------------------------------------------------------------


class PersonOut(Out):
    username = Text()
    full_name = Text()


class Awaited(Out):
    """An answer that a worker makes, or makes of what is much: until it has, there is a NotYetOut, with 202."""


class NotYetOut(Out):
    """What is not there yet: how far the worker is. The same address gives the answer once it is."""

    task = serializers.UUIDField(source="pk", help_text="Its number: what comes of it is at /tasks/NUMBER.")
    title = serializers.CharField()
    state = Word(EVERY_STATE)
    progress = serializers.CharField()
    done = serializers.IntegerField()
    of = serializers.IntegerField(help_text="0: not known.")
    problem = serializers.CharField(help_text="Why the last try did not succeed, if one did not.")


class SessionIn(Form):
    username = Text(max_length=60)
    password = Secret()
    code = Text(max_length=40, required=False, help_text="Of the second factor, or a recovery code.")


class SessionPersonOut(PersonOut):
    is_administrator = YesNo(source="is_staff")
    must_change_password = YesNo(help_text="An administrator gave it: nothing else can be done before.")
    is_enrolled = YesNo(help_text="Before that, nothing that needs an authorisation.")


PasswordChangeIn = body_of(PasswordChangeFields, "PasswordChangeIn")
OwnPasswordIn = body_of(OwnPasswordFields, "OwnPasswordIn")


class SecondFactorOut(Out):
    secret = Text(help_text="For the device, base32; shown this once.")
    address = Text(help_text="The same for devices that read it from a picture (otpauth://).")


CodeIn = body_of(CodeFields, "CodeIn")


class RecoveryCodesOut(Out):
    recovery_codes = serializers.ListField(child=Text(), help_text="Each is good once, in place of a code.")


class SessionOut(Out):
    person = SessionPersonOut()
    csrf_token = Text(help_text="For the header X-CSRFToken of everything but GET.")


class PostingOut(Out):
    id = Number()
    site = Text(source="site.code", default=None, allow_null=True, help_text="null: every site.")
    valid_from = Moment()
    valid_until = Moment(allow_null=True)


class PostingIn(Form):
    site = Named(CODE, allow_null=True, help_text="null: every site.")
    valid_from = Moment()
    valid_until = Moment(allow_null=True, default=None)


class AccountOut(PersonOut):
    staff_number = Text()
    is_active = YesNo()
    is_administrator = YesNo(source="is_staff")
    created_at = Moment()
    password_set_at = Moment(allow_null=True)
    must_change_password = YesNo(help_text="An administrator gave it.")
    login_given_by = Text(source="login_given_by.username", default=None, allow_null=True)
    enrolled_at = Moment(allow_null=True, help_text="null: may do nothing that needs an authorisation.")
    enrolled_by = Text(source="enrolled_by.username", default=None, allow_null=True)
    postings = PostingOut(many=True, source="postings.all")


class PersonIn(Form):
    username = Named(USERNAME)
    full_name = Text(max_length=120)
    staff_number = Text(max_length=30, help_text="One for each human being.")
    password = Secret(allow_null=True, help_text="null: somebody who never logs in. Its owner changes it first.")
    is_administrator = YesNo(source="is_staff", default=False)


EnrolmentIn = body_of(EnrolmentFields, "EnrolmentIn")


class GivenPasswordIn(Form):
    password = Secret(help_text="Its owner changes it before anything else.")


class AlarmOut(Out):
    id = Number()
    at = Moment()
    person = Text(source="person.username", default=None, allow_null=True, help_text="null: a name that nobody has.")
    asked_at = Word(AskedAt)
    address = Text(allow_null=True)
    number = Whole(help_text="Of wrong tries in a row.")


class PersonPatch(Form):
    full_name = Text(max_length=120, required=False)
    is_active = YesNo(required=False)
    is_administrator = YesNo(source="is_staff", required=False)


# Reference data -----------------------------------------------------------------------------------------------------


class SiteIn(Form):
    code = Named(CODE)
    name = Text(max_length=80)
    time_zone = Text(max_length=40, default="UTC")


class SitePatch(Form):
    name = Text(max_length=80, required=False)
    time_zone = Text(max_length=40, required=False)


class SiteOut(Out):
    code = Text()
    name = Text()
    time_zone = Text()


class LengthOut(Out):
    """Cable on the drum by the winding model; standard uncertainties.

    The systematic part is the same for every count of the reel: in the difference of two counts most of it cancels.
    """

    value_m = Metres()
    u_m = Metres(source="combined_u_m", help_text="Standard uncertainty, both parts together.")
    systematic_u_m = Metres(help_text="From the dimensions of drum and cable.")
    random_u_m = Metres(help_text="From the count, a whole number of wraps.")


def _mark(what: str) -> Maybe:
    return Maybe(required=False, default=empty, max_length=40, help_text=f"What {what} like, in words of the type's.")


class ReelTypePatch(Form):
    """What may be put right of a reel type; a count under way keeps the parameters it was opened with."""

    core_diameter_mm = Exact(required=False)
    cable_diameter_mm = Exact(required=False)
    layer_rise_mm = Exact(required=False, allow_null=True, help_text="null: nested layers.")
    layer_rise_u_mm = Exact(
        required=False,
        allow_null=True,
        help_text="Its standard uncertainty. null: none for a measured rise; else anything up to stacked, evenly.",
    )
    pitch_mm = Exact(required=False, allow_null=True, help_text="null: the cable's diameter.")
    diameter_u_mm = Exact(required=False, help_text="Standard uncertainty of the diameters.")
    max_layers = Whole(required=False, min_value=1)
    lead_wraps = Whole(required=False)
    arc_from_deg = Whole(required=False, max_value=360)
    arc_to_deg = Whole(required=False, max_value=360)
    arc_publication = Maybe(
        required=False, default=empty, max_length=120,
        help_text="Says the arc where it is not the half turn of the winding sense; people then key degrees.",
    )  # fmt: skip
    crossover_begins_layer = YesNo(
        required=False,
        help_text="The crossover that is seen is where its layer begins. false: every count is referred.",
    )
    reference_side = Word(Side, required=False)
    scale_line_at = Word(LinePlace, required=False)
    winding_sense = Word(WindingSense, required=False, help_text="The arc follows from it, and it from the arc.")
    unusual = Word(UnusualRule, required=False)
    unusual_publication = Maybe(required=False, default=empty, max_length=120)
    least_length_m = Exact(required=False, allow_null=True)
    odd_face_mark = _mark("a gauge's odd face looks")
    even_face_mark = _mark("a gauge's even face looks")
    odd_scale_mark = _mark("a scale of odd numbers looks")
    even_scale_mark = _mark("a scale of even numbers looks")
    reason = Maybe(required=False, default=empty, help_text="Why it is changed; kept in the register's history.")


class ReelTypeIn(ReelTypePatch):
    reason = None  # type: ignore[assignment]  # of a change alone
    code = Named(CODE)
    core_diameter_mm = Exact()
    cable_diameter_mm = Exact()
    wraps_odd_layer = Whole(min_value=2)
    wraps_even_layer = Whole(min_value=2)
    max_layers = Whole(min_value=1)
    anchor_side = Word(Side)
    graduation = Word(Graduation, required=False)


class ReelTypeOut(Out):
    code = Text()
    core_diameter_mm = Exact()
    cable_diameter_mm = Exact()
    wraps_odd_layer = Whole()
    wraps_even_layer = Whole()
    max_layers = Whole()
    layer_rise_mm = Exact(allow_null=True)
    layer_rise_u_mm = Exact(allow_null=True)
    pitch_mm = Exact(allow_null=True)
    diameter_u_mm = Exact()
    anchor_side = Word(Side)
    reference_side = Word(Side)
    scale_line_at = Word(LinePlace)
    winding_sense = Word(WindingSense)
    graduation = Word(Graduation)
    lead_wraps = Whole()
    arc_from_deg = Whole()
    arc_to_deg = Whole()
    arc_publication = Maybe()
    crossover_begins_layer = YesNo()
    unusual = Word(UnusualRule)
    unusual_publication = Maybe()
    least_length_m = Exact(allow_null=True)
    odd_face_mark = Maybe()
    even_face_mark = Maybe()
    odd_scale_mark = Maybe()
    even_scale_mark = Maybe()
    rule_sources = Json(
        help_text="By rule (lead, arc, reference_side, scale_line, winding_sense, unusual): publication, revision, "
        "paragraph, and the id of who named it."
    )
    rules_written_by = serializers.ListField(
        child=Number(), help_text="Ids of those who wrote or sourced a rule since they were confirmed last."
    )
    rules_confirmed_by = Text(source="rules_confirmed_by.username", default=None, allow_null=True)
    rules_confirmed_at = Moment(
        allow_null=True, help_text="null: no count of it is signed, and no setup values are issued."
    )


RuleSourcesIn = body_of(RuleSourceFields, "RuleSourcesIn")
PublicationIn = body_of(PublicationFields, "PublicationIn")


class PublicationsQuery(PageQuery):
    in_force_for = Named(CODE, required=False, help_text="A reel type: only those by which it is counted now.")


class PublicationOut(Out):
    """One revision of a publication. What has ended stays, for the counts that name it."""

    id = Number()
    code = Text()
    title = Text()
    revision = Text()
    valid_from = Moment()
    valid_until = Moment(allow_null=True)
    end_reason = Maybe()
    types = serializers.SerializerMethodField(help_text="Codes of reel types; none: every type.")

    def get_types(self, row: Any) -> list[str]:
        """In order; those of a list come with it."""
        return sorted(each.code for each in row.types.all())


class MachinePatch(Form):
    host = Text(max_length=60, required=False, help_text="The host's registration or name.")
    site = Named(CODE, required=False)


class MachineIn(Form):
    serial = Named(SERIAL)
    host = Text(max_length=60, help_text="The host's registration or name.")
    site = Named(CODE)


class MachineOut(Out):
    serial = Text()
    host = Text()
    site = Text(source="site.code")


class MachinesQuery(PageQuery):
    site = serializers.CharField(required=False, max_length=30)


# Tokens -------------------------------------------------------------------------------------------------------------


class TokenIn(Form):
    person = Named(USERNAME, help_text="The user name of whose rights it has.")
    name = Named(r"[-a-zA-Z0-9_. ]{1,40}", help_text="Of the script; histories tell it.")
    scopes = serializers.ListField(child=Word(Scope), min_length=1, max_length=len(Scope))
    expires_at = Moment(help_text="At most a year away.")


class TokenOut(Out):
    id = Number()
    person = Text(source="person.username")
    name = Text()
    prefix = Text(help_text="What its secret begins with, after wl_.")
    scopes = serializers.ListField(child=Word(Scope))
    issued_by = Text(source="issued_by.username")
    issued_at = Moment()
    expires_at = Moment()
    last_used_at = Moment(allow_null=True, help_text="To the minute.")
    revoked_at = Moment(allow_null=True)
    revoked_by = Text(source="revoked_by.username", default=None, allow_null=True)
    revoke_reason = Maybe()


class NewTokenOut(TokenOut):
    secret = Text(allow_null=True, help_text="Shown this once; null when the same request is sent again.")


# Histories ----------------------------------------------------------------------------------------------------------


@extend_schema_field({"type": "object", "additionalProperties": True})
class Content(serializers.JSONField):
    """The entry's own words, from its stored bytes."""

    def to_representation(self, value: Any) -> Any:
        return ledger.read(bytes(value))


class HistoryEntryOut(Out):
    seq = Number()
    at = Moment()
    act = Text()
    actor = PersonOut(allow_null=True)
    digest = Text(help_text="SHA-256 of the content as canonical JSON (RFC 8785).")
    prev = Text(help_text="The digest of the entry before; 64 zeros for the first.")
    content = Content()


class ChangeOut(HistoryEntryOut):
    reel = Text(source="chain.reel.serial")


class ChangesQuery(PageQuery):
    cursor = None  # type: ignore[assignment]  # the feed has its own, `after`
    after = Named(r"[0-9]{1,18}", default="0", help_text="As `after` of the last answer has it.")


class ChangesOut(Out):
    results = ChangeOut(many=True)
    after = Text(help_text="Give it as `after` next time; also when there was nothing new.")
    more = YesNo(help_text="Whether more is waiting already.")
