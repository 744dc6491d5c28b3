"""The wrap gauges: which are out, since when and with whom, what each fits; registered, calibrated, moved."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from inspections import access as access_of_acts
from inspections.queries.gauges import standing_of, with_uses
from reels import access
from reels.domain.act_fields import CalibrationFields, GaugeFields, GaugeMachineFields
from reels.models import WrapGauge
from reels.pages.act_fields import form_of, reel_types_offered
from reels.pages.acts import ActView
from reels.pages.answers import page, reader, show
from reels.services import register


def _machines_offered() -> list[tuple[str, str]]:
    return [(each.serial, f"{each.serial} in {each.host}") for each in access.machines()]


@page
def wrap_gauges(request: HttpRequest) -> HttpResponse:
    """Every gauge that the reader may see, those that are out first."""
    person, at = reader(request), timezone.now()
    rows = [standing_of(each, at) for each in with_uses(access.readable_gauges(person, at))]
    rows.sort(key=lambda row: (row.use is None, row.gauge.serial))
    out = sum(row.use is not None for row in rows)
    # An administrator sees the gauges of sites at which they may see no count.
    counts = access_of_acts.readable_inspections(person, at).filter(
        pk__in=[row.use.inspection_id for row in rows if row.use]
    )
    about = {"rows": rows, "out": out, "seen": set(counts.values_list("pk", flat=True)), "section": "gauges"}
    return show(request, "inspections/gauges.html", about)


# Acts of administrators ---------------------------------------------------------------------------------------------


class GaugeActView(ActView):
    template_name = "reels/form.html"
    subject: WrapGauge | None = None

    def find(self, serial: str = "") -> None:  # type: ignore[override]  # the address names the gauge, if there is one
        access.only_administrators(self.person)
        if serial:
            self.subject = access.gauge_for_read(serial, self.person, self.at)

    @property
    def gauge(self) -> WrapGauge:
        """The one that the address names."""
        assert self.subject, "the address of this act names a gauge"
        return self.subject

    def seen(self) -> str:
        """Of a gauge, its machine and how often it was calibrated: every act changes one of the two."""
        return f"{self.subject.machine.serial} {len(self.subject.calibrations.all())}" if self.subject else ""

    def require_unchanged(self, seen: str) -> None:
        if self.subject:
            access.lock_register()
            self.subject = access.gauge_for_read(self.subject.serial, self.person, self.at)
        super().require_unchanged(seen)

    def done_at(self) -> str:
        return reverse("gauges")

    def context(self) -> dict[str, Any]:
        return {"section": "gauges"}


class GaugeRegisterView(GaugeActView):
    form_class = form_of(GaugeFields, "serial", "machine", "types", "calibrated_on", "due")
    title, button = "Register a wrap gauge", "Register it"
    says = "Key its serial as it stands on the gauge: whoever takes it for a count reads it off there."

    def form_options(self) -> dict[str, Any]:
        return {"offered": {"machine": ("choose", _machines_offered()), "types": ("", reel_types_offered())}}

    def do(self, data: dict[str, Any]) -> None:
        types = [access.reel_type(code) for code in data.pop("types")]
        machine = access.machine(data.pop("machine"))
        gauge = register.register_gauge(types=types, machine=machine, actor=self.actor, at=self.at, **data)
        self.message = f"Registered: wrap gauge {gauge.serial} of machine {machine.serial}."


class GaugeCalibrationView(GaugeActView):
    form_class = form_of(CalibrationFields)
    button = "Record the calibration"
    says = "Its earlier calibrations stay, for the counts of those days."

    @property
    def title(self) -> str:
        return f"Calibration of wrap gauge {self.gauge.serial}"

    def do(self, data: dict[str, Any]) -> None:
        register.calibrate_gauge(self.gauge, actor=self.actor, at=self.at, **data)
        self.message = f"The calibration of wrap gauge {self.gauge.serial} is recorded."


class GaugeMoveView(GaugeActView):
    form_class = form_of(GaugeMachineFields)
    button = "Have it belong there"
    says = "The gauge belongs to that machine from now on: its end marks are matched to that machine's mounting."

    @property
    def title(self) -> str:
        return f"The machine of wrap gauge {self.gauge.serial}"

    def form_options(self) -> dict[str, Any]:
        return {"offered": {"machine": ("choose", _machines_offered())}}

    def do(self, data: dict[str, Any]) -> None:
        machine = access.machine(data["machine"])
        register.move_gauge(self.gauge, machine=machine, actor=self.actor, at=self.at)
        self.message = f"Wrap gauge {self.gauge.serial} belongs to machine {machine.serial}."
