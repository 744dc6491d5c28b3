"""The wrap gauge of a count: its serial keyed and its end marks matched, and later its return."""

from typing import Any

from django import forms
from django.urls import reverse

from inspections.domain.act_fields import GaugeReturnFields, GaugeTakingFields
from inspections.domain.words import InspectionState
from inspections.pages.count.deciding import InspectionActView, WhileReadView
from inspections.queries.gauges import has_gauge, use_out_of
from inspections.services import gauges
from reels.pages.act_fields import READ_OFF, form_of

SERIAL = {"widget": forms.TextInput(READ_OFF)}
GaugeTakingForm = form_of(GaugeTakingFields, wrap_gauge=SERIAL)
GaugeReturnForm = form_of(GaugeReturnFields, wrap_gauge=SERIAL)


class GaugeTakingView(WhileReadView):
    """Before wraps are counted: which gauge is in the hand, and whether it goes the way round that it should."""

    states = (InspectionState.OPEN,)
    form_class = GaugeTakingForm
    template_name = "inspections/count/gauge.html"

    def elsewhere(self) -> str:
        return super().elsewhere() or (self.done_at() if has_gauge(self.row) else "")

    def do(self, data: dict[str, Any]) -> None:
        facts = GaugeTakingFields(**data)
        taken = gauges.take_gauge(inspection_id=self.row.pk, facts=facts, actor=self.actor, at=self.at)
        assert taken.machine, "the gauge belongs to one"
        self.message = f"Wrap gauge {taken.wrap_gauge} of machine {taken.machine.serial}: it fits, and is not past due."

    def done_at(self) -> str:
        return reverse("worksheet-technician", args=[self.row.pk])


class GaugeReturnView(InspectionActView):
    """Its serial, keyed at its machine: then nothing is left behind."""

    states = tuple(InspectionState)
    form_class = GaugeReturnForm
    template_name = "inspections/count/gauge_return.html"

    def find(self, **path: Any) -> None:
        super().find(**path)
        self.use_out = use_out_of(self.row)

    def elsewhere(self) -> str:
        return "" if self.use_out else self.done_at()

    def context(self) -> dict[str, Any]:
        return {**super().context(), "use": self.use_out}

    def do(self, data: dict[str, Any]) -> None:
        back = gauges.return_gauge(
            inspection_id=self.row.pk, facts=GaugeReturnFields(**data), actor=self.actor, at=self.at
        )
        self.message = f"Wrap gauge {back.gauge.serial} is back in machine {back.gauge.machine.serial}."
