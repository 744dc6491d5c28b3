"""What is done about a flag: assigned, handed on, looked into, closed; each on a page of its own."""

from typing import Any

from django import forms
from django.http import QueryDict
from django.urls import reverse
from django.utils.dateparse import parse_datetime

from inspections import access
from inspections.domain.drift import Ending
from inspections.domain.words import Act
from inspections.pages.act_page import ActForm, ActPage, Subject, words_field
from inspections.pages.reel_acts import ReasonForm
from inspections.services import flags
from inspections.services.flags import FlaggedInterval
from reels import access as reel_access
from reels.errors import NotFound
from reels.models import Reel
from reels.services.history import Actor
from reports.services import assessments, drift_report

ENDINGS = {
    Ending.LATE_LOGGED_CUT: "a cut, logged late",
    Ending.MISCOUNT: "a miscount",
    Ending.CONFIRMED_LOSS: "a confirmed loss",
    Ending.UNEXPLAINED: "unexplained",
}


class AssigneeForm(ActForm):
    assigned_to = forms.ChoiceField(label="Who looks into it")

    def __init__(self, data: QueryDict | None = None, *, reel: Reel, people: list[tuple[str, str]]) -> None:
        super().__init__(data, reel=reel)
        field: Any = self.fields["assigned_to"]
        field.choices = [("", "choose somebody"), *people]


class AssigneePage(ActPage):
    """An act that names who is to look into it."""

    needs = (Act.MAINTAIN,)
    template_name = "reports/flag_act.html"

    def form(self, data: QueryDict | None = None) -> ActForm:
        reel = self.subject.reel
        people = reel_access.readers_of(reel, self.at).values_list("username", "full_name")
        form = AssigneeForm(data, reel=reel, people=[(username, name) for username, name in people])
        form.initial["assigned_to"] = self.person.username
        return form


class Assign(AssigneePage):
    """The interval between two counts, named in the address by their times."""

    title, button = "Have an interval looked into", "Assign it"

    def find(self, serial: str) -> Subject:
        reel = reel_access.reel_for_read(serial, self.person, self.at)
        assessments.bring_reel_up_to_date(reel, at=self.at)
        return Subject(reel=reel, row=self.interval(reel))

    def interval(self, reel: Reel) -> FlaggedInterval:
        given = [self.request.GET.get(name, "") for name in ("from", "to")]
        try:
            ends = [parse_datetime(each) for each in given]
        except ValueError:
            ends = [None]
        if None in ends or any(each.tzinfo is None for each in ends if each):
            raise NotFound(what=f"interval of reel {reel.serial}", key=" to ".join(given))
        return drift_report.flagged_interval(reel, *ends)  # type: ignore[arg-type]  # none is None

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        to = reel_access.person_named(given["assigned_to"])
        serial = self.subject.reel.serial
        made = flags.assign_flag(serial=serial, interval=self.subject.row, to=to, actor=actor, at=self.at)
        self.made = made
        return f"{to.full_name} looks into it."

    def done_at(self) -> str:
        made = getattr(self, "made", None)
        return reverse("flag", args=[made.pk]) if made else reverse("reel-drift", args=[self.subject.reel.serial])


class FlagPage(ActPage):
    """An act on a flag, which is the row of its subject."""

    template_name = "reports/flag_act.html"

    def find(self, flag_id: int) -> Subject:  # type: ignore[override]  # the address names the flag
        row = reel_access.one(access.readable_flags(self.person, self.at), "flag", pk=flag_id)
        return Subject(reel=row.reel, row=row)

    def done_at(self) -> str:
        return reverse("flag", args=[self.subject.row.pk])


class Reassign(FlagPage, AssigneePage):
    title, button = "Have somebody else look into it", "Hand it on"

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        to = reel_access.person_named(given["assigned_to"])
        flags.reassign_flag(flag_id=self.subject.row.pk, to=to, actor=actor, at=self.at)
        return f"{to.full_name} looks into it now."


class FindingForm(ActForm):
    finding = words_field("What was found")


class LookInto(FlagPage):
    title, button = "Write down what was found", "Keep it"
    form_class = FindingForm

    def require_allowed(self) -> None:
        if self.subject.row.assigned_to_id != self.person.pk:
            access.authorisation_for(self.person, Act.MAINTAIN, self.subject.reel, self.at)

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        flags.look_into_flag(flag_id=self.subject.row.pk, finding=given["finding"], actor=actor, at=self.at)
        return "What was found is kept."


class EndingForm(ReasonForm):
    ending = forms.ChoiceField(
        label="What it was", choices=[("", "choose"), *((ending.value, words) for ending, words in ENDINGS.items())]
    )
    field_order = ("ending", "reason")


class Close(FlagPage):
    title, button = "Close the flag", "Close it"
    means = "What it was is evidence for the next report. A flag that is closed stays closed."
    needs = (Act.MAINTAIN,)
    form_class = EndingForm

    def do(self, given: dict[str, Any], actor: Actor) -> str:
        ending = Ending(given["ending"])
        flags.close_flag(flag_id=self.subject.row.pk, ending=ending, reason=given["reason"], actor=actor, at=self.at)
        return f"The flag is closed: {ENDINGS[ending]}."
