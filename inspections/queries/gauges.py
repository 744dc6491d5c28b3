"""Which wrap gauges are out, since when, with whom and for which count."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Prefetch, QuerySet

from inspections.domain import keying
from inspections.domain.keying import KeyedValue
from inspections.domain.words import LIVE, InspectionState
from inspections.models import GaugeUse, Inspection
from reels.models import Machine, WrapGauge
from reels.queries import calibration_at

_OUT = GaugeUse.objects.filter(returned_at__isnull=True).select_related("gauge__machine", "taken_by")


def use_out_of(inspection: Inspection) -> GaugeUse | None:
    """The gauge that is out for this count. One query."""
    return _OUT.filter(inspection=inspection).first()


def use_out_of_gauge(gauge: WrapGauge) -> GaugeUse | None:
    """For what this gauge is out. One query."""
    return _OUT.filter(gauge=gauge).first()


def use_out_of_machine(machine: Machine) -> GaugeUse | None:
    """A gauge of the machine that is out. One query."""
    return _OUT.filter(gauge__machine=machine).first()


def with_uses(gauges: QuerySet[WrapGauge]) -> QuerySet[WrapGauge]:
    """The gauges, each with `out`: the use that it is out for, in a list of one, or none. One query more for all."""
    return gauges.prefetch_related(Prefetch("uses", queryset=_OUT.all(), to_attr="out"))


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStanding:
    """What a gauge is out for, if it is; the last day of its calibration, if one has begun; the types it fits."""

    gauge: WrapGauge
    use: GaugeUse | None
    calibration_due: date | None
    is_past_due: bool
    fits: list[str]


def standing_of(gauge: Any, at: datetime) -> GaugeStanding:
    """Where a gauge of `with_uses` stands, on the day that it is at its machine. No query for what access gave."""
    today = gauge.machine.site.day_of(at)
    calibration = calibration_at(gauge, today)
    return GaugeStanding(
        gauge=gauge, use=gauge.out[0] if gauge.out else None, calibration_due=calibration.due if calibration else None,
        is_past_due=calibration is None or calibration.due < today,
        fits=sorted(each.code for each in gauge.types.all()),
    )  # fmt: skip


def out_or_not(gauges: QuerySet[WrapGauge], *, is_out: bool) -> QuerySet[WrapGauge]:
    """Those of the gauges that are out, or those that are in their machines."""
    out = GaugeUse.objects.filter(returned_at__isnull=True).values("gauge")
    return gauges.filter(pk__in=out) if is_out else gauges.exclude(pk__in=out)


def needs_gauge(inspection: Inspection, keyed: list[KeyedValue]) -> bool:
    """Whether the next thing of an open count is a step that the wrap gauge is needed for, and none is in hand.

    keyed: of the reading under way. One query.
    """
    is_due = any(point in keying.NEED_GAUGE for point, _ in keying.open_now(keyed))
    return inspection.state == InspectionState.OPEN and is_due and not has_gauge(inspection)


def has_gauge(inspection: Inspection) -> bool:
    """Whether a gauge is in hand; for a count from paper, whether it says which one was. One query."""
    uses = GaugeUse.objects.filter(inspection=inspection)
    return uses.exists() if inspection.from_paper else uses.filter(returned_at__isnull=True).exists()


def is_asked_for(inspection: Inspection) -> bool:
    """Whether a gauge that is out for this count is to go back now: a referred count may need it again."""
    return inspection.state not in LIVE or inspection.state == InspectionState.AWAITING_SIGN_OFF
