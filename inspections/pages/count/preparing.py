"""The beginning of a count: the preparation, confirmed."""

from typing import Any

from django.urls import reverse

from inspections.access import acts_held
from inspections.errors import PublicationNotInForce
from inspections.models import Inspection
from inspections.pages.count.forms import PreparationForm
from inspections.pages.finding_rows import finding_rows
from inspections.pages.reel.act_page import ReelActView
from inspections.queries.counts import work_orders_of_late
from inspections.queries.findings import findings_of
from inspections.services.opening import Preparation, open_inspection
from reels.domain.cautions import CAUTIONS
from reels.errors import Refused
from reels.pages.acts import UNPROCESSABLE
from reels.queries import publications_in_force


class BeginCountView(ReelActView):
    """The preparation form; once it is taken, the worksheet."""

    form_class = PreparationForm
    template_name = "inspections/count/preparation.html"
    status_not_allowed = UNPROCESSABLE
    opened: Inspection | None = None

    def form_options(self) -> dict[str, Any]:
        return {
            "publications": list(publications_in_force(self.reel.type, self.at)),
            "work_orders": work_orders_of_late(self.reel.site, self.at),
        }

    def context(self) -> dict[str, Any]:
        held = acts_held(self.person, self.reel, self.at)
        watched = findings_of(self.reel).filter(closed_at__isnull=True)
        return {**super().context(), "cautions": CAUTIONS, "findings": finding_rows(watched, self.person, held)}

    def names_in(self, refused: Refused) -> tuple[str, ...]:
        """A publication that is refused was chosen, or typed below."""
        is_typed = bool(self.request.POST.get("publication"))
        is_chosen = isinstance(refused, PublicationNotInForce) and not is_typed
        return ("in_force",) if is_chosen else super().names_in(refused)

    def do(self, data: dict[str, Any]) -> None:
        preparation = Preparation(**data)
        self.opened = open_inspection(serial=self.reel.serial, preparation=preparation, actor=self.actor, at=self.at)

    def done_at(self) -> str:
        return reverse("worksheet-technician", args=[self.opened.pk]) if self.opened else super().done_at()
