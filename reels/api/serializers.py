"""Forms and answers of people, sites, reel types, machines, tokens and histories."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from reels.api.act_fields import body_of
from reels.api.fields import (
    CODE,
    SERIAL,
    USERNAME,
    Codes,
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
from reels.domain.words import AskedAt, LockScope, Scope
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
    scope = Word(LockScope, help_text="What was locked: see security.md.")
    number = Whole(help_text="Of wrong tries.")


class PersonPatch(Form):
    full_name = Text(max_length=120, required=False)
    is_active = YesNo(required=False)
    is_administrator = YesNo(source="is_staff", required=False)


# Reference data -----------------------------------------------------------------------------------------------------


TRANSIT_DAYS = "A reel that was sent here and not received is late after so many days."


class SiteIn(Form):
    code = Named(CODE)
    name = Text(max_length=80)
    time_zone = Text(max_length=40, default="UTC")
    transit_days = Whole(min_value=1, max_value=365, default=7, help_text=TRANSIT_DAYS)


class SitePatch(Form):
    name = Text(max_length=80, required=False)
    time_zone = Text(max_length=40, required=False)
    transit_days = Whole(min_value=1, max_value=365, required=False, help_text=TRANSIT_DAYS)


class SiteOut(Out):
    code = Text()
    name = Text()
    time_zone = Text()
    transit_days = Whole(help_text=TRANSIT_DAYS)


class LengthOut(Out):
    """Cable on the drum by the winding model; standard uncertainties.

    The systematic part is the same for every count of the reel: in the difference of two counts most of it cancels.
    """

    value_m = Metres()
    u_m = Metres(source="combined_u_m", help_text="Standard uncertainty, both parts together.")
    systematic_u_m = Metres(help_text="From the dimensions of drum and cable.")
    random_u_m = Metres(help_text="From the count, a whole number of wraps.")


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


TAKEN = "Codes of the reel types that it takes: no other is issued for it or installed in it."


class MachinePatch(Form):
    host = Text(max_length=60, required=False, help_text="The host's registration or name.")
    site = Named(CODE, required=False)
    types = Codes(required=False, help_text=TAKEN)


class MachineIn(Form):
    serial = Named(SERIAL)
    host = Text(max_length=60, help_text="The host's registration or name.")
    site = Named(CODE)
    types = Codes(required=False, help_text=TAKEN)


class MachineHoldOut(Out):
    placed_at = Moment()
    reason = Text()
    reel = Text(source="reel.serial", help_text="Whose failed check held it.")


class MachineOut(Out):
    serial = Text()
    host = Text()
    site = Text(source="site.code")
    types = serializers.ListField(child=Text(), help_text=TAKEN)
    hold = MachineHoldOut(allow_null=True)


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
