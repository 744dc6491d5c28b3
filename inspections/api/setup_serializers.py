"""Forms and answers of setup values and authorisations."""

from rest_framework import serializers

from inspections.api.count_serializers import ValidityOut
from inspections.domain.act_fields import CHECKS, MachineCheckFields, ReadBackFields
from inspections.domain.words import Act
from reels.api.act_fields import body_of
from reels.api.fields import CODE, USERNAME, Exact, Maybe, Moment, Named, Number, Text, Whole, Word, YesNo
from reels.api.forms import Form, Out, PageQuery
from reels.api.serializers import PersonOut
from reels.domain.words import Parity


class SetupValuesQuery(PageQuery):
    reel = serializers.CharField(required=False, max_length=40)
    machine = serializers.CharField(required=False, max_length=40)
    in_force = Word(["yes", "no"], required=False)


class SetupValuesOut(Out):
    id = Number()
    reel = Text(source="reel.serial")
    machine = Text(source="machine.serial")
    inspection = Number(source="inspection_id")
    layers = Whole()
    wraps = Whole()
    parity = Word(Parity)
    issued_by = PersonOut()
    issued_at = Moment()
    gauge_returned_by = PersonOut(allow_null=True)
    gauge_returned_at = Moment(allow_null=True)
    set_by = PersonOut(allow_null=True)
    set_at = Moment(allow_null=True)
    confirmed_by = PersonOut(allow_null=True)
    confirmed_at = Moment(allow_null=True)
    withdrawn_by = PersonOut(allow_null=True)
    withdrawn_at = Moment(allow_null=True)
    withdrawn_why = Maybe()


class ReadBackOut(Out):
    role = Word(["setter", "confirmer"])
    layers = Number(min_value=0)
    wraps = Number(min_value=0)
    matches = YesNo()
    keyed_by = PersonOut()
    keyed_at = Moment()


class MachineCheckOut(Out):
    kind = Word([kind for kind, _ in CHECKS])
    passed = YesNo()
    layers = Number(min_value=0, allow_null=True)
    wraps = Number(min_value=0, allow_null=True)
    length_m = Exact(allow_null=True, help_text="On the drum, as the machine showed it.")
    length_out_m = Exact(allow_null=True)
    expected_layers = Whole(allow_null=True)
    expected_wraps = Exact(allow_null=True)
    expected_length_m = Exact(allow_null=True)
    more_turns = Exact(allow_null=True, help_text="Shown less expected, in turns; null also where no drum shows that.")
    remark = Maybe()
    done_by = PersonOut()
    done_at = Moment()


class SetupValuesDetailOut(SetupValuesOut):
    validity = ValidityOut(help_text="Whether they stand.")
    read_backs = ReadBackOut(many=True, source="read_backs.all")
    machine_checks = MachineCheckOut(many=True, source="machine_checks.all")


ReadBackIn = body_of(ReadBackFields, "ReadBackIn")
MachineCheckIn = body_of(MachineCheckFields, "MachineCheckIn")


# Authorisations ------------------------------------------------------------------------------------------------------


class AuthorisationsQuery(PageQuery):
    person = serializers.CharField(required=False, max_length=60)
    act = Word(Act, required=False)


class AuthorisationIn(Form):
    person = Named(USERNAME)
    act = Word(Act)
    reel_type = Named(CODE, allow_null=True, help_text="null: every type.")
    site = Named(CODE, allow_null=True, help_text="null: every site.")
    valid_from = Moment()
    valid_until = Moment(allow_null=True, default=None)


class AuthorisationOut(Out):
    id = Number()
    person = PersonOut()
    act = Word(Act)
    reel_type = Text(source="reel_type.code", default=None, allow_null=True)
    site = Text(source="site.code", default=None, allow_null=True)
    valid_from = Moment()
    valid_until = Moment(allow_null=True)
    granted_by = PersonOut()
    granted_at = Moment()
    ended_at = Moment(allow_null=True)
    ended_by = PersonOut(allow_null=True)
    end_reason = Maybe()
