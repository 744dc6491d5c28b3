"""What maintenance control records of a reel, each act on a page of its own."""

from typing import Any, ClassVar

from django import forms
from django.urls import reverse

from inspections.access import MAY_END_HOLDS, may_end_machine_hold
from inspections.domain.act_fields import HoldFields, InstallationFields, MachineFields, RemovalFields
from inspections.domain.words import Act
from inspections.pages.count.forms import ReasonForm
from inspections.pages.reel.act_page import ReelActView
from inspections.queries.counts import cable_events_of, events_of, latest_signed
from inspections.queries.setup_values import taken_machines
from inspections.services import machine_checks, maintenance, setup
from reels import access
from reels.domain.act_fields import fields_of
from reels.models import Machine, MachineHold, Reel
from reels.pages.act_fields import YES_NO_OR_NOT_KNOWN, form_of
from reels.pages.acts import ActForm, ActView
from reels.pages.formats import count_words, length, metres_of
from reels.queries import hold_on, hold_on_machine
from reels.services.events import ReelEventFacts
from reels.services.reels import CableEventFacts

UNITS = {"m": "metres", "ft": "feet"}
KINDS, INCIDENTS = (fields_of(ReelEventFacts)[name].words for name in ("kind", "incident"))


class LengthsForm(ActForm):
    """Lengths are typed in the person's unit and handed on in metres."""

    def __init__(self, *args: Any, unit: str, **options: Any) -> None:
        super().__init__(*args, **options)
        self.unit = unit
        for name in self.lengths:
            self.fields[name].label = f"{self.fields[name].label}, in {UNITS[unit]}"

    @property
    def lengths(self) -> list[str]:
        return [name for name in self.fields if name.startswith("length_")]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        typed = {name: data[name] for name in self.lengths if data.get(name) is not None}
        return {**data, **{name: metres_of(value, self.unit) for name, value in typed.items()}}


CutForm = form_of(CableEventFacts, "happened_at", "length_removed_m", "document", "remark", "answers", base=LengthsForm,
                  length_removed_m={"required": True})  # fmt: skip
ReplacedForm = form_of(
    CableEventFacts,
    "happened_at",
    "length_removed_m",
    "length_fitted_m",
    "cable_serial",
    "document",
    "remark",
    base=LengthsForm,
)


ReelEventForm = form_of(
    ReelEventFacts, base=LengthsForm, ends_count=YES_NO_OR_NOT_KNOWN, kind={"choices": [("", "choose"), *KINDS]},
    incident={"choices": [("", "none"), *INCIDENTS], "made": forms.TypedChoiceField, "empty_value": None},
)  # fmt: skip


class CableEventView(ReelActView):
    kind: ClassVar[str]
    withdraws = "this withdraws them"

    def form_options(self) -> dict[str, Any]:
        return {"unit": self.person.length_unit}  # and no time: one that is filled in is taken for the true one

    def do(self, data: dict[str, Any]) -> None:
        facts = CableEventFacts(kind=self.kind, **data)
        event = maintenance.log_cable_event(serial=self.reel.serial, facts=facts, actor=self.actor, at=self.at)
        removed = length(event.length_removed_m, self.person.length_unit)
        what = f"cut of {removed}" if self.kind == "cut" else "replacement"
        self.message = f"The {what} is logged. The reel has to be counted before it is used."


class CutView(CableEventView):
    title, button, kind = "Log a cut", "Log the cut", "cut"
    means = "Cable that was cut off the outer end. Setup values in force are withdrawn at once."
    needs = (Act.MAINTAIN, Act.COUNT)
    form_class = CutForm


class ReplacementView(CableEventView):
    title, button, kind = "Log a cable replacement", "Log the replacement", "replaced"
    means = "Setup values in force are withdrawn at once. A length that is not known is left empty."
    needs = (Act.MAINTAIN,)
    form_class = ReplacedForm


class ReelEventView(ReelActView):
    title, button = "Record an event", "Record the event"
    means = "It was re-spooled or used, or met with an incident. What ends its count withdraws setup values at once."
    withdraws = "what ends the count withdraws them"
    needs = maintenance.MAY_LOG_EVENTS
    form_class = ReelEventForm

    def form_options(self) -> dict[str, Any]:
        chosen = self.request.GET.get("kind", "")
        return {"unit": self.person.length_unit, "initial": {"kind": chosen}}

    def do(self, data: dict[str, Any]) -> None:
        facts = ReelEventFacts(**data)
        event = maintenance.log_reel_event(serial=self.reel.serial, facts=facts, actor=self.actor, at=self.at)
        after = "Its count no longer holds; count it before it is used." if event.ends_count else "Its count holds."
        self.message = f"Recorded: {event.named}. {after}"


class ReversalView(ReelActView):
    """Takes back a wrong or doubled entry; both stay."""

    title, button = "Reverse a cable entry", "Reverse the entry"
    means = "The entry stays in the history, with a counter-entry; it no longer counts."
    withdraws = "this withdraws them"
    needs = (Act.MAINTAIN,)
    form_class = ReasonForm
    template_name = "inspections/reversal.html"

    def subject(self, serial: str, event_id: int) -> tuple[Reel, Any]:  # type: ignore[override]  # the address names more
        reel = access.reel_for_read(serial, self.person, self.at)
        return reel, access.one(cable_events_of(reel), "cable event", pk=event_id)

    def context(self) -> dict[str, Any]:
        removed = length(self.row.length_removed_m, self.person.length_unit)
        return {**super().context(), "entry": self.row.get_kind_display(), "removed": removed}

    def do(self, data: dict[str, Any]) -> None:
        maintenance.reverse_cable_event(
            serial=self.reel.serial, event_id=self.row.pk, remark=data["reason"], actor=self.actor, at=self.at
        )
        self.message = "The entry is reversed."


class EventReversalView(ReelActView):
    """Takes back a wrong or doubled event; both stay."""

    title, button = "Reverse an event", "Reverse the event"
    means = (
        "The event stays in the history, with a counter-entry; it no longer counts. What it withdrew or held is not "
        "put back. If something else happened, record that as well."
    )
    needs = (Act.MAINTAIN,)
    form_class = ReasonForm
    template_name = "inspections/reversal.html"

    def subject(self, serial: str, event_id: int) -> tuple[Reel, Any]:  # type: ignore[override]  # the address names more
        reel = access.reel_for_read(serial, self.person, self.at)
        return reel, access.one(events_of(reel), "event", pk=event_id)

    def context(self) -> dict[str, Any]:
        return {**super().context(), "entry": self.row.named}

    def do(self, data: dict[str, Any]) -> None:
        maintenance.reverse_reel_event(
            serial=self.reel.serial, event_id=self.row.pk, remark=data["reason"], actor=self.actor, at=self.at
        )
        self.message = "The event is reversed."


# Machines -----------------------------------------------------------------------------------------------------------


class MachineView(ReelActView):
    """An act that names a machine at the reel's site."""

    form_class: ClassVar[type[ActForm]] = form_of(MachineFields)

    def form_options(self) -> dict[str, Any]:
        """Those that take the reel; one that is held, or has values of another reel, says so."""
        taken = taken_machines(self.reel)
        here = access.readable_machines(self.person, self.at).filter(site=self.reel.site).prefetch_related("holds")
        machines = [
            (each.serial, f"{each.serial} in {each.host}{_why_not(each.hold, taken.get(each.serial))}")
            for each in here if self.reel.type.code in each.types
        ]  # fmt: skip
        offered = {"machine": ("choose a machine", machines)}
        initial = {"machine": self.request.GET.get("machine", "")}
        return {"offered": offered, "initial": initial}


def _why_not(hold: Any, other: str | None) -> str:
    return " (held)" if hold else f" (values of {other} are in force)" if other else ""


class IssueView(MachineView):
    title, button = "Issue setup values", "Issue the values"
    means = "For one machine. They are in force at once."
    needs = (Act.ISSUE,)
    template_name = "inspections/issue.html"

    def context(self) -> dict[str, Any]:
        count = latest_signed(self.reel)
        return {**super().context(), "count": count, "numbers": count and count_words(count.layers, count.wraps)}

    def do(self, data: dict[str, Any]) -> None:
        serial = self.reel.serial
        self.issued = setup.issue(serial=serial, machine_serial=data["machine"], actor=self.actor, at=self.at)
        self.message = f"Setup values for machine {data['machine']} are in force."

    def done_at(self) -> str:
        issued = getattr(self, "issued", None)
        return reverse("setup-values", args=[issued.pk]) if issued else super().done_at()


class InstallationView(MachineView):
    title, button = "Record an installation", "Record the installation"
    means = "The machine that the reel is in now."
    needs = (Act.MAINTAIN, Act.SET)
    form_class = form_of(InstallationFields)

    def do(self, data: dict[str, Any]) -> None:
        serial = self.reel.serial
        maintenance.install(serial=serial, machine_serial=data["machine"], answers=data["answers"],
                            happened_at=data["happened_at"], actor=self.actor,
                            at=self.at)  # fmt: skip
        self.message = f"Reel {serial} is in machine {data['machine']}."


class RemovalView(ReelActView):
    title, button = "Record a removal", "Record the removal"
    means = "Setup values in force are withdrawn at once."
    withdraws = "this withdraws them"
    needs = (Act.MAINTAIN, Act.SET)
    form_class = form_of(RemovalFields, "reason", "happened_at", "cable_went_out", "layers", "wraps", "length_m",
                         "length_out_m",
                         base=LengthsForm, cable_went_out=YES_NO_OR_NOT_KNOWN)  # fmt: skip

    def form_options(self) -> dict[str, Any]:
        return {"unit": self.person.length_unit}

    def do(self, data: dict[str, Any]) -> None:
        shown = machine_checks.shown_in(data)
        gone = maintenance.remove(serial=self.reel.serial, shown=shown, actor=self.actor, at=self.at, **data)
        held = " What the machine showed is too far off: reel and machine are held." if hold_on(self.reel) else ""
        self.message = f"Reel {self.reel.serial} is off machine {gone.machine.serial}.{held}"


# Holds, sites, the end ----------------------------------------------------------------------------------------------


class HoldView(ReelActView):
    title, button = "Hold the reel", "Hold the reel"
    means = "Nobody may use it until the hold is ended. Setup values in force are withdrawn at once."
    withdraws = "this withdraws them"
    needs = (Act.MAINTAIN, Act.VERIFY)
    form_class = form_of(HoldFields)

    def do(self, data: dict[str, Any]) -> None:
        maintenance.place_hold(serial=self.reel.serial, actor=self.actor, at=self.at, **data)
        self.message = f"Reel {self.reel.serial} is held."


class HoldEndView(ReelActView):
    title, button = "End the hold", "End the hold"
    means = "Record what was found or done."
    needs = MAY_END_HOLDS
    form_class = form_of(HoldFields)

    def do(self, data: dict[str, Any]) -> None:
        maintenance.end_hold(serial=self.reel.serial, actor=self.actor, at=self.at, **data)
        still = hold_on(self.reel)
        self.message = f"Reel {self.reel.serial} is {f'held now: {still.reason}' if still else 'no longer held.'}"


class MachineHoldEndView(ActView):
    """Let a held machine go."""

    button = "End the hold"
    form_class = ReasonForm
    template_name = "reels/form.html"
    machine: Machine
    hold: MachineHold | None

    def find(self, serial: str) -> None:  # type: ignore[override]  # the address names the machine
        self.machine = access.machine_for_read(serial, self.person, self.at)
        self.site, self.hold = self.machine.site, hold_on_machine(self.machine)

    def require_allowed(self) -> None:
        if self.hold:
            may_end_machine_hold(self.person, self.hold, self.at)

    def elsewhere(self) -> str:
        return "" if self.hold else self.done_at()

    @property
    def title(self) -> str:
        return f"End the hold of machine {self.machine.serial}"

    @property
    def says(self) -> str:
        return f"It is held: {self.hold.reason.rstrip('.')}. Say what was found or done." if self.hold else ""

    def seen(self) -> str:
        return str(self.hold.pk) if self.hold else ""

    def do(self, data: dict[str, Any]) -> None:
        maintenance.end_machine_hold(
            machine_serial=self.machine.serial, reason=data["reason"], actor=self.actor, at=self.at
        )
        self.message = f"Machine {self.machine.serial} is no longer held."

    def done_at(self) -> str:
        return reverse("reels")


class RetirementView(ReelActView):
    title, button = "Retire the reel", "Retire the reel"
    means = "It goes out of service for good, and nothing more can be recorded for it. Its records stay."
    withdraws = "this withdraws them"
    needs = (Act.MAINTAIN,)
    form_class = ReasonForm

    def do(self, data: dict[str, Any]) -> None:
        maintenance.retire(serial=self.reel.serial, reason=data["reason"], actor=self.actor, at=self.at)
        self.message = f"Reel {self.reel.serial} is retired."
