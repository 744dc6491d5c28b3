"""What maintenance control records of a reel, each act on a page of its own."""

from decimal import Decimal
from typing import Any, ClassVar

from django import forms
from django.http import QueryDict
from django.urls import reverse

from inspections.domain.words import Act
from inspections.pages.act_page import ActForm, ActPage, Subject, moment_field, now_at_site, words_field
from inspections.queries.counts import cable_events_of
from inspections.services import maintenance, setup
from reels import access
from reels.errors import Refused
from reels.models import Reel
from reels.pages.formats import length, metres_of
from reels.services.history import Actor
from reels.services.reels import CableEventFacts

UNITS = {"m": "metres", "ft": "feet"}


class LengthForm(ActForm):
    """Lengths are typed in the person's unit and handed on in metres."""

    lengths: ClassVar[dict[str, bool]] = {}  # which, and whether it has to be given
    labels: ClassVar[dict[str, str]] = {"length_removed_m": "Cable removed", "length_fitted_m": "Cable fitted"}

    def __init__(self, data: QueryDict | None = None, *, unit: str, **options: Any) -> None:
        super().__init__(data, **options)
        self.unit = unit
        for name, required in self.lengths.items():
            self.fields[name] = forms.DecimalField(
                label=f"{self.labels[name]}, in {UNITS[unit]}", required=required, min_value=Decimal("0.01"),
                max_value=Decimal(99999), decimal_places=3, widget=forms.NumberInput(attrs={"step": "any"}),
            )  # fmt: skip
        self.order_fields(["happened_at", *self.lengths])

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        typed = {name: given[name] for name in self.lengths if given.get(name) is not None}
        return {**given, **{name: metres_of(value, self.unit) for name, value in typed.items()}}


class CableForm(LengthForm):
    happened_at = moment_field("When, on the site's clocks")
    document = forms.CharField(label="Work order or document", required=False, max_length=120)
    remark = words_field("Remark", required=False)


class CutForm(CableForm):
    lengths = {"length_removed_m": True}


class ReplacedForm(CableForm):
    lengths = {"length_removed_m": False, "length_fitted_m": False}


class CablePage(ActPage):
    """Logs a cable event of a kind."""

    kind: ClassVar[str]

    def form(self, data: QueryDict | None = None) -> ActForm:
        form: Any = self.form_class
        made: ActForm = form(data, reel=self.subject.reel, unit=self.person.length_unit)
        made.initial["happened_at"] = now_at_site(self.at)
        return made

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        facts = CableEventFacts(kind=self.kind, **given)
        event = maintenance.log_cable_event(serial=self.subject.reel.serial, facts=facts, actor=actor, at=self.at)
        unit = self.person.length_unit
        if self.kind == "cut":
            return (
                f"The cut of {length(event.length_removed_m, unit)} is logged. The reel is counted before it is used."
            )
        return "The replacement is logged. The reel is counted before it is used."


class Cut(CablePage):
    title, button, kind = "Log a cut", "Log the cut", "cut"
    means = "Cable that was cut off the outer end. Setup values in force are withdrawn at once."
    needs = (Act.MAINTAIN, Act.COUNT)
    form_class = CutForm


class Replacement(CablePage):
    title, button, kind = "Log a cable replacement", "Log the replacement", "replaced"
    means = "Setup values in force are withdrawn at once. A length that is not known is left empty."
    needs = (Act.MAINTAIN,)
    form_class = ReplacedForm


class ReasonForm(ActForm):
    reason = words_field("Reason")


class Reversal(ActPage):
    """Takes back a wrong or doubled entry; both stay."""

    title, button = "Take back a cable entry", "Take it back"
    means = "The entry stays in the history, with a counter-entry; it no longer counts."
    needs = (Act.MAINTAIN,)
    form_class = ReasonForm
    template_name = "inspections/reversal.html"

    def find(self, serial: str, event_id: int) -> Subject:  # type: ignore[override]  # the address names more
        reel = access.reel_for_read(serial, self.person, self.at)
        return Subject(reel=reel, row=access.one(cable_events_of(reel), "cable event", pk=event_id))

    def shown(self) -> dict[str, Any]:
        return {"removed": length(self.subject.row.length_removed_m, self.person.length_unit)}

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        maintenance.reverse_cable_event(
            serial=self.subject.reel.serial,
            event_id=self.subject.row.pk,
            remark=given["reason"],
            actor=actor,
            at=self.at,
        )
        return "The entry is taken back."


# Machines -----------------------------------------------------------------------------------------------------------


class MachineForm(ActForm):
    machine = forms.ChoiceField(label="Machine")

    def __init__(self, data: QueryDict | None = None, *, machines: list[tuple[str, str]], **options: Any) -> None:
        super().__init__(data, **options)
        field: Any = self.fields["machine"]
        field.choices = [("", "choose a machine"), *machines]


class MachinePage(ActPage):
    """An act that names a machine at the reel's site."""

    form_class = MachineForm

    def form(self, data: QueryDict | None = None) -> ActForm:
        reel = self.subject.reel
        here = access.readable_machines(self.person, self.at).filter(site=reel.site)
        machines = [(each.serial, f"{each.serial} in {each.host}") for each in here]
        form = MachineForm(data, reel=reel, machines=machines)
        form.initial["machine"] = self.request.GET.get("machine", "")
        return form


class Issue(MachinePage):
    title, button = "Issue setup values", "Issue the values"
    means = "From the reel's latest signed count, for one machine. They are in force at once."
    needs = (Act.ISSUE,)

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        serial = self.subject.reel.serial
        self.issued = setup.issue(serial=serial, machine_serial=given["machine"], actor=actor, at=self.at)
        return f"Setup values for machine {given['machine']} are in force."

    def done_at(self) -> str:
        issued = getattr(self, "issued", None)
        return reverse("setup-values", args=[issued.pk]) if issued else super().done_at()


class Installation(MachinePage):
    title, button = "Record that the reel was installed", "It is installed"
    means = "In which machine it is now."
    needs = (Act.MAINTAIN, Act.SET)

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        serial = self.subject.reel.serial
        maintenance.install(serial=serial, machine_serial=given["machine"], actor=actor, at=self.at)
        return f"Reel {serial} is in machine {given['machine']}."


class Removal(ActPage):
    title, button = "Record that the reel was taken off", "It is off the machine"
    means = "Setup values in force are withdrawn at once."
    needs = (Act.MAINTAIN, Act.SET)

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        gone = maintenance.remove(serial=self.subject.reel.serial, actor=actor, at=self.at)
        return f"Reel {self.subject.reel.serial} is off machine {gone.machine.serial}."


# Holds, sites, the end ----------------------------------------------------------------------------------------------


class HoldPlaced(ActPage):
    title, button = "Hold the reel", "Hold it"
    means = "Nobody may use it until the hold is ended. Setup values in force are withdrawn at once."
    needs = (Act.MAINTAIN, Act.VERIFY)
    form_class = ReasonForm

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        maintenance.place_hold(serial=self.subject.reel.serial, reason=given["reason"], actor=actor, at=self.at)
        return f"Reel {self.subject.reel.serial} is held."


class HoldEnded(ActPage):
    title, button = "End the hold", "End the hold"
    means = "Say what was found or done."
    needs = (Act.RELEASE, Act.MAINTAIN)
    form_class = ReasonForm

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        maintenance.end_hold(serial=self.subject.reel.serial, reason=given["reason"], actor=actor, at=self.at)
        return f"Reel {self.subject.reel.serial} is no longer held."


class SiteForm(ActForm):
    site = forms.ChoiceField(label="To which site")

    def __init__(self, data: QueryDict | None = None, *, reel: Reel, sites: list[tuple[str, str]]) -> None:
        super().__init__(data, reel=reel)
        field: Any = self.fields["site"]
        field.choices = [("", "choose a site"), *(each for each in sites if each[0] != reel.site.code)]


class Move(ActPage):
    title, button = "Send the reel to another site", "It was sent"
    means = "Whoever is posted there sees it from now on; whoever is posted only here no longer does."
    needs = (Act.MAINTAIN,)

    def form(self, data: QueryDict | None = None) -> ActForm:
        sites = [(code, name) for code, name in access.sites().values_list("code", "name")]
        return SiteForm(data, reel=self.subject.reel, sites=sites)

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        moved = maintenance.move(serial=self.subject.reel.serial, site_code=given["site"], actor=actor, at=self.at)
        return f"Reel {moved.serial} was sent to {moved.site.name}."

    def done_at(self) -> str:
        """The list after it is gone: whoever sent it may not see it any more."""
        return reverse("reels") if self.request.method == "POST" else super().done_at()


class Retirement(ActPage):
    title, button = "Retire the reel", "Retire it for good"
    means = "It goes out of service for good, and nothing more can be recorded for it. Its records stay."
    needs = (Act.MAINTAIN,)
    form_class = ReasonForm

    def do(self, given: dict[str, Any], actor: Actor) -> str | Refused:
        maintenance.retire(serial=self.subject.reel.serial, reason=given["reason"], actor=actor, at=self.at)
        return f"Reel {self.subject.reel.serial} is retired."
