"""The card of setup values: what is in force, what is done, what comes next; and the acts along the way."""

from collections.abc import Callable
from typing import Any, ClassVar

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from inspections import access
from inspections.domain.act_fields import MachineCheckFields, ReadBackFields
from inspections.domain.words import Act
from inspections.errors import ReadBackDiffers
from inspections.models import ReadBack
from inspections.pages.count.forms import ReasonForm
from inspections.pages.reel.act_page import ReelActView
from inspections.pages.reel.acts import LengthsForm
from inspections.pages.reel.next_act import step_of
from inspections.pages.reel.page import shown_values
from inspections.queries.setup_values import with_read_backs
from inspections.services import machine_checks, setup
from reels.errors import Refused
from reels.models import Reel
from reels.pages.act_fields import asks, form_of
from reels.pages.acts import ActForm
from reels.pages.answers import page, reader, show
from reels.queries import installation_of


@page
def setup_values(request: HttpRequest, setup_id: int) -> HttpResponse:
    """Everything about one pair of setup values."""
    person, at = reader(request), timezone.now()
    row = access.setup_values_for_read(setup_id, person, at)
    [row] = with_read_backs(access.readable_setup_values(person, at, "reel").filter(pk=row.pk))
    installed = installation_of(row.reel)
    held = access.acts_held(person, row.reel, at)
    following = step_of(row, is_installed=bool(installed and installed.machine_id == row.machine_id))
    values = shown_values(row, [installed] if installed else [], row.reel, person.length_unit)
    shown = {
        "next": following,
        "may": bool(following and following.is_for(person, held, row)),
        "may_check": bool(row.confirmed_at and held & {Act.SET, Act.CONFIRM, Act.MAINTAIN}),
        "may_withdraw": Act.ISSUE in held,
    }
    about = {"page": shown, "values": values, "reel": row.reel}
    return show(request, "inspections/setup_values.html", about, row.reel.site)


# Acts ---------------------------------------------------------------------------------------------------------------


class SetupActView(ReelActView):
    """An act on setup values, which are the row of its subject."""

    template_name = "inspections/setup_act.html"

    def subject(self, setup_id: int) -> tuple[Reel, Any]:  # type: ignore[override]  # the address names the values
        row = access.setup_values_for_read(setup_id, self.person, self.at)
        return row.reel, row

    def done_at(self) -> str:
        return reverse("setup-values", args=[self.row.pk])


class GaugeForm(ActForm):
    is_back = forms.BooleanField(label="The wrap gauge is back in its place in the machine, and nothing is left behind")


class GaugeView(SetupActView):
    title, button = "Return the wrap gauge", "Confirm the return"
    means = "The bar that was taken off for the count belongs in the machine before the numbers are set."
    needs = (Act.SET, Act.CONFIRM)
    form_class = GaugeForm

    def do(self, data: dict[str, Any]) -> None:
        setup.return_gauge(setup_id=self.row.pk, actor=self.actor, at=self.at)
        self.message = "The return of the wrap gauge is recorded."


class ReadBackView(SetupActView):
    """Somebody types what the machine shows. The issued numbers are not on the page."""

    form_class = form_of(ReadBackFields)
    matches: ClassVar[str]
    key: ClassVar[Callable[..., ReadBack]]

    def do(self, data: dict[str, Any]) -> Refused | None:
        read_back = self.key(setup_id=self.row.pk, actor=self.actor, at=self.at, **data)
        self.message = self.matches
        return None if read_back.matches else ReadBackDiffers(**data)


class SetterReadBackView(ReadBackView):
    title, button = "Set the numbers and read them back", "Record the read-back"
    means = "Set the machine from the card. Then read the machine, not the card, and type what you see."
    matches = "The machine shows what was issued. A second person has to confirm it now."
    needs = (Act.SET,)
    key = staticmethod(setup.key_read_back)


class ConfirmationView(ReadBackView):
    title, button = "Confirm what the machine shows", "Record the read-back"
    template_name = "inspections/confirmation.html"
    means = "You are the second person. Read the machine yourself and type what you see."
    matches = "Confirmed: two people have read the same from the machine."
    needs = (Act.CONFIRM,)
    key = staticmethod(setup.confirm)

    def context(self) -> dict[str, Any]:
        return {**super().context(), "back": reverse("reels")}  # the card shows the numbers


@asks(MachineCheckFields, "kind", "layers", "wraps", "length_m", "length_out_m", "remark")
class CheckForm(LengthsForm):
    passed = forms.ChoiceField(label="Result", choices=[("", "choose"), ("yes", "passed"), ("no", "failed")])


class MachineCheckView(SetupActView):
    title, button = "Record a check of the machine", "Record the check"
    means = (
        "The functional check after installation, or what the machine showed after first use: layers and wraps, or a "
        "length. One that failed, or shows too much or too little, holds reel and machine and withdraws the values."
    )
    withdraws = "a check that failed withdraws them"
    needs = (Act.SET, Act.CONFIRM, Act.MAINTAIN)
    form_class = CheckForm

    def form_options(self) -> dict[str, Any]:
        return {"unit": self.person.length_unit}

    def do(self, data: dict[str, Any]) -> None:
        passed = data.pop("passed") == "yes"
        shown = machine_checks.shown_in(data)
        check = machine_checks.record_check(
            setup_id=self.row.pk, passed=passed, shown=shown, actor=self.actor, at=self.at, **data
        )
        after = "passed." if check.passed else "failed. Reel and machine are held, and the values are withdrawn."
        self.message = f"The check is recorded: {after}"


class WithdrawalView(SetupActView):
    title, button = "Withdraw these setup values", "Withdraw the values"
    means = "They are no longer in force from now on, and everybody sees the reason."
    withdraws = "this withdraws them"
    needs = (Act.ISSUE,)
    form_class = ReasonForm

    def do(self, data: dict[str, Any]) -> None:
        setup.withdraw(setup_id=self.row.pk, reason=data["reason"], actor=self.actor, at=self.at)
        self.message = "The setup values are withdrawn."
