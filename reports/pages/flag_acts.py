"""What is done about a flag: assigned, handed on, looked into, closed; each on a page of its own."""

from typing import Any

from django.urls import reverse
from django.utils.dateparse import parse_datetime

from inspections import access
from inspections.domain.act_fields import ENDINGS, AssigneeFields, EndingFields, LookedIntoFields
from inspections.domain.drift import Ending
from inspections.domain.words import Act
from inspections.pages.reel.act_page import ReelActView
from inspections.services import flags
from inspections.services.flags import FlaggedInterval
from reels import access as reel_access
from reels.domain.text import set_apart
from reels.errors import NotFound
from reels.models import Reel
from reels.pages.act_fields import form_of
from reports.services import assessments, drift_report


class AssigneeView(ReelActView):
    """An act that names who is to look into it."""

    needs = (Act.MAINTAIN,)
    form_class = form_of(AssigneeFields)
    template_name = "reports/flag_act.html"

    def form_options(self) -> dict[str, Any]:
        people = reel_access.readers_of(self.reel, self.at).values_list("username", "full_name")
        offered = {"assigned_to": ("choose a person", people)}
        return {"offered": offered, "initial": {"assigned_to": self.person.username}}


class AssignView(AssigneeView):
    """The interval between two counts, named in the address by their times."""

    title, button = "Assign an interval for investigation", "Assign"
    flag: Any = None

    def subject(self, serial: str) -> tuple[Reel, Any]:
        reel = reel_access.reel_for_read(serial, self.person, self.at)
        assessments.bring_reel_up_to_date(reel, at=self.at)
        return reel, self.interval(reel)

    def interval(self, reel: Reel) -> FlaggedInterval:
        times = [self.request.GET.get(name, "") for name in ("from", "to")]
        try:
            ends = [parse_datetime(each) for each in times]
        except ValueError:
            ends = [None]
        if None in ends or any(each.tzinfo is None for each in ends if each):
            raise NotFound(what=f"interval of reel {reel.serial}", key=" to ".join(times))
        return drift_report.flagged_interval(reel, *ends)  # type: ignore[arg-type]  # none is None

    def do(self, data: dict[str, Any]) -> None:
        to = reel_access.person_named(data["assigned_to"])
        serial = self.reel.serial
        self.flag = flags.assign_flag(serial=serial, interval=self.row, to=to, actor=self.actor, at=self.at)
        self.message = f"Assigned to {set_apart(to.full_name)}."

    def done_at(self) -> str:
        return reverse("flag", args=[self.flag.pk]) if self.flag else reverse("reel-drift", args=[self.reel.serial])


class FlagView(ReelActView):
    """An act on a flag, which is the row of its subject."""

    template_name = "reports/flag_act.html"

    def subject(self, flag_id: int) -> tuple[Reel, Any]:  # type: ignore[override]  # the address names the flag
        row = reel_access.one(access.readable_flags(self.person, self.at), "flag", pk=flag_id)
        return row.reel, row

    def done_at(self) -> str:
        return reverse("flag", args=[self.row.pk])


class ReassignView(FlagView, AssigneeView):
    title, button = "Reassign the flag", "Reassign"

    def do(self, data: dict[str, Any]) -> None:
        to = reel_access.person_named(data["assigned_to"])
        flags.reassign_flag(flag_id=self.row.pk, to=to, actor=self.actor, at=self.at)
        self.message = f"Reassigned to {set_apart(to.full_name)}."


class LookingView(FlagView):
    """An act of whoever looks into the flag: who is named in it, or maintains the reel."""

    def require_allowed(self) -> None:
        access.require_looks_into(self.row, self.person, self.at)


class LookIntoView(LookingView):
    title, button = "Record findings", "Record findings"
    form_class = form_of(LookedIntoFields)

    def do(self, data: dict[str, Any]) -> None:
        flags.look_into_flag(flag_id=self.row.pk, finding=data["finding"], actor=self.actor, at=self.at)
        self.message = "The findings are recorded."


class CloseView(LookingView):
    title, button = "Close the flag", "Close the flag"
    means = "The outcome is evidence for the next report. A closed flag cannot be reopened."
    form_class = form_of(EndingFields, ending={"choices": [("", "choose"), *ENDINGS]})

    def do(self, data: dict[str, Any]) -> None:
        ending = Ending(data["ending"])
        flags.close_flag(flag_id=self.row.pk, ending=ending, reason=data["reason"], actor=self.actor, at=self.at)
        self.message = f"The flag is closed: {dict(ENDINGS)[ending]}."
