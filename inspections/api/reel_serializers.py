"""Forms and answers of reels and cable events."""

from typing import Any

from rest_framework import serializers

from inspections.domain.act_fields import (
    HoldFields,
    InstallationFields,
    MachineFields,
    RemovalFields,
    ReversalFields,
)
from inspections.domain.words import InspectionState, ReelStatus
from reels.api.act_fields import body_of
from reels.api.fields import CODE, SERIAL, Day, Exact, Maybe, Moment, Named, Number, Text, Whole, Word, YesNo
from reels.api.forms import Form, Out, PageQuery, Query
from reels.api.serializers import LengthOut, PersonOut
from reels.domain.life import LifeLimit, LifeMeasure, LifePart
from reels.domain.words import IncidentKind, Parity, ReelEventKind
from reels.models import CableEvent, Reel
from reels.queries import length_counted
from reels.services.events import ReelEventFacts
from reels.services.reels import CableEventFacts


class CountedLength(LengthOut):
    """The length of the row's own count; null without one."""

    def get_attribute(self, instance: Any) -> Any:
        reel = instance if isinstance(instance, Reel) else instance.reel
        return length_counted(instance.layers, instance.wraps, reel.type)


SEARCHED = (
    "Part of the reel's serial number, of its machine's or host's, or of the name of somebody who signed its latest "
    "count or is at work at one. One or two characters are looked for where a word begins."
)


class ReelsQuery(PageQuery):
    site = serializers.CharField(required=False, max_length=30)
    type = serializers.CharField(required=False, max_length=30)
    status = Word(ReelStatus, required=False)
    q = serializers.CharField(required=False, max_length=60, help_text=SEARCHED)


class ReelIn(Form):
    serial = Named(SERIAL)
    type = Named(CODE)
    site = Named(CODE)
    received_on = Day()
    cable_length_m = Exact(allow_null=True, default=None, help_text="Of the cable it came with; null: unknown.")
    part_number = Text(max_length=40, allow_null=True, default=None, help_text="Of the assembly.")
    cable_part_number = Text(max_length=40, allow_null=True, default=None)
    cable_serial = Text(max_length=40, allow_null=True, default=None, help_text="Serial or lot of the cable.")


class ReelOut(Out):
    serial = Text()
    type = Text(source="type.code")
    site = Text(source="site.code", help_text="Where it is; in transit, the site that sent it, which answers for it.")
    status = Word(ReelStatus)
    received_on = Day()
    cable_length_m = Exact(allow_null=True)
    part_number = Maybe()
    cable_part_number = Maybe()
    cable_serial = Maybe(help_text="Serial or lot of the cable that it was received with.")
    machine = Text(source="machine_serial", allow_null=True, help_text="The machine that it is installed in.")
    counted_at = Moment(allow_null=True, help_text="When the latest signed count was done, with its result below.")
    layers = Whole(allow_null=True)
    wraps = Whole(allow_null=True)
    length = CountedLength(allow_null=True, help_text="What that count stands for; the lead is not in it.")
    count_current_until = Moment(
        source="currency.until",
        default=None,
        allow_null=True,
        help_text="When that count lapses by days, if it does.",
    )
    count_lapsed_at = Moment(source="currency.ended_at", default=None, allow_null=True)
    count_lapsed_why = Maybe(source="currency.why", default="", help_text="What ended that count; null: it is current.")
    retired_at = Moment(allow_null=True)
    retired_reason = Maybe()


class LifeOut(Out):
    """One life that the reel's type limits, and what is spent of it."""

    part = Word(LifePart)
    measure = Word(LifeMeasure, help_text="days: since it came.")
    spent = Exact()
    soft = Whole(allow_null=True, help_text="Warned from so many on.")
    hard = Whole(allow_null=True, help_text="At so many the reel is held.")
    reached = Word(LifeLimit, allow_null=True, help_text="The limit that is reached.")


class InstallationOut(Out):
    machine = Text(source="machine.serial")
    installed_at = Moment()
    recorded_at = Moment(allow_null=True, help_text="null: as it happened.")


class HoldOut(Out):
    placed_at = Moment()
    recorded_at = Moment(allow_null=True, help_text="null: as it happened.")
    reason = Text()


class AsOfQuery(Query):
    as_of = Moment(help_text="A moment that is not to come.")


class InstalledThenOut(Out):
    machine = Text()
    installed_at = Moment()
    installed_by = PersonOut()
    removed_at = Moment(allow_null=True, help_text="null: it was in the machine.")
    removed_by = PersonOut(allow_null=True)


class HeldThenOut(Out):
    reason = Text()
    placed_at = Moment()
    placed_by = PersonOut(allow_null=True, help_text="null: the service itself.")
    ended_at = Moment(allow_null=True, help_text="null: it held the reel.")
    end_reason = Maybe()


class StoodOut(Out):
    """Where a reel stood at a moment, with its installations and holds by then, oldest first."""

    status = Word(ReelStatus)
    machine = Text(allow_null=True, help_text="The machine that it was installed in.")
    setup_values = Number(source="values.pk", default=None, allow_null=True, help_text="The id of those in force.")
    inspection = Number(source="count.pk", default=None, allow_null=True, help_text="The latest signed count.")
    counted_at = Moment(source="count.done_at", default=None, allow_null=True)
    layers = Whole(source="count.layers", default=None, allow_null=True)
    wraps = Whole(source="count.wraps", default=None, allow_null=True)
    count_current_until = Moment(source="currency.until", default=None, allow_null=True)
    count_lapsed_at = Moment(source="currency.ended_at", default=None, allow_null=True)
    count_lapsed_why = Maybe(source="currency.why", default="", help_text="null: it was current, or there was none.")
    installations = InstalledThenOut(many=True)
    holds = HeldThenOut(many=True)


class ReelThenOut(Out):
    """A reel at a moment, in two ways; null where it had not come, or was not on record, by then."""

    reel = Text()
    as_of = Moment()
    happened = StoodOut(allow_null=True, help_text="By what had happened by then, as far as it is recorded today.")
    recorded = StoodOut(allow_null=True, help_text="By what had been recorded by then.")


class ValuesInForceOut(Out):
    id = Number()
    machine = Text(source="machine.serial")
    layers = Whole()
    wraps = Whole()
    parity = Word(Parity)
    confirmed_at = Moment(allow_null=True)


class LiveInspectionOut(Out):
    id = Number()
    state = Word(InspectionState)


class ReelDetailOut(ReelOut):
    life = LifeOut(many=True, help_text="Uses, hours and age as far as the type limits them.")
    cable_serial_now = Maybe(help_text="Serial or lot of the cable that is on it now.")
    length_by_log_m = Exact(allow_null=True, help_text="Metres of cable by the log, now; null: unknown.")
    installation = InstallationOut(allow_null=True)
    hold = HoldOut(allow_null=True)
    setup_values = ValuesInForceOut(source="in_force", allow_null=True)
    inspection = LiveInspectionOut(source="live", allow_null=True, help_text="The count that is under way.")


class ReelEventOut(Out):
    id = Number()
    reel = Text(source="reel.serial")
    kind = Word(ReelEventKind)
    incident = Word(IncidentKind, allow_null=True)
    happened_at = Moment()
    recorded_at = Moment()
    recorded_by = PersonOut()
    uses = Whole(allow_null=True)
    hours = Exact(allow_null=True)
    length_out_m = Exact(allow_null=True, help_text="The greatest length that was out.")
    ends_count = YesNo(help_text="Counts from before it have lapsed.")
    document = Maybe()
    words = Maybe()
    reverses = Number(source="reverses_id", allow_null=True)
    reversed_by = Number(source="reversed_by.id", default=None, allow_null=True)


MachineNamedIn = body_of(MachineFields, "MachineNamedIn")
HoldIn = body_of(HoldFields, "HoldIn")
InstallationIn = body_of(InstallationFields, "InstallationIn")
RemovalIn = body_of(RemovalFields, "RemovalIn")
CableEventIn = body_of(CableEventFacts, "CableEventIn")
ReelEventIn = body_of(ReelEventFacts, "ReelEventIn")
ReversalIn = body_of(ReversalFields, "ReversalIn")


class CableEventOut(Out):
    id = Number()
    reel = Text(source="reel.serial")
    kind = Word(CableEvent.Kind)
    length_removed_m = Exact(allow_null=True)
    length_fitted_m = Exact(allow_null=True)
    happened_at = Moment()
    recorded_at = Moment()
    recorded_by = PersonOut()
    document = Maybe()
    remark = Maybe()
    cable_serial = Maybe(help_text="Serial or lot of the cable that was fitted.")
    reverses = Number(source="reverses_id", allow_null=True)
    reversed_by = Number(source="reversed_by.id", default=None, allow_null=True)
