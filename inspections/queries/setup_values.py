"""Setup values, with what was read back of them."""

from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet

from inspections.models import SetupValues
from reels.models import Reel
from reels.queries import matching

_SETUP_PEOPLE = ("issued_by", "gauge_returned_by", "set_by", "confirmed_by", "withdrawn_by")


def values_in_force(reel: Reel) -> SetupValues | None:
    """The setup values in force for a reel. One query."""
    return (
        SetupValues.objects.select_related("machine", "inspection").filter(reel=reel, withdrawn_at__isnull=True).first()
    )


def taken_machines(reel: Reel) -> dict[str, str]:
    """The machines at the reel's site for which values of another reel are in force, with that reel's serial."""
    rows = SetupValues.objects.filter(machine__site=reel.site_id, withdrawn_at__isnull=True).exclude(reel=reel)
    return dict(rows.values_list("machine__serial", "reel__serial"))


def with_read_backs(values: QuerySet[SetupValues]) -> QuerySet[SetupValues]:
    """The setup values with every read-back and check, and the people behind them. Two more queries."""
    return values.select_related(*_SETUP_PEOPLE).prefetch_related("read_backs__keyed_by", "machine_checks__done_by")


def setup_values_matching(values: QuerySet[SetupValues], filters: Mapping[str, Any]) -> QuerySet[SetupValues]:
    """The setup values of a reel or machine; in_force: "yes" or "no"."""
    rows = matching(values.select_related(*_SETUP_PEOPLE), filters, reel="reel__serial", machine="machine__serial")
    in_force = filters.get("in_force")
    return rows if in_force is None else rows.filter(withdrawn_at__isnull=in_force == "yes")
