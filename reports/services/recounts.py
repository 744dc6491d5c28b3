"""The counts worth making next: where one more would tell most about an unlogged cut before the newest one."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Abs

from inspections.domain import drift
from inspections.domain.drift import Recount
from inspections.queries import histories
from inspections.queries.status import with_status
from reels.models import Reel
from reports.models import AssessedInterval

WEIGHED = 100  # reels that are weighed for one answer
LEAST_P = 0.01  # of an unlogged cut before the newest count: below, there is nothing to settle
LEAST_WORTH_BITS = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class WorthCounting:
    """A reel (with its status), its newest interval, the count at the end of it, and what one more would tell."""

    reel: Any
    interval: AssessedInterval
    layers: int
    wraps: int
    worth: Recount


def counts_worth_making(reels: QuerySet[Reel], asked: Mapping[str, Any]) -> list[WorthCounting]:
    """The reels of which one more count would tell something, most first; at the site that is asked for, if one is.

    Those in service whose newest interval, as it was assessed last, is least certain are weighed: WEIGHED of them at
    most. Seven queries.
    """
    in_service = reels.filter(retired_at__isnull=True)
    if asked.get("site"):
        in_service = in_service.filter(site__code=asked["site"])
    doubtful = list(_most_doubtful(in_service))
    intervals = {
        each.pk: each for each in AssessedInterval.objects.filter(pk__in=[vars(reel)["newest"] for reel in doubtful])
    }
    rates = histories.parameters_of(histories.learned_rates())
    worthwhile = []
    for reel, history in zip(doubtful, histories.histories_of(doubtful), strict=True):
        worth = drift.recount(history, rates)
        if worth.worth_bits < LEAST_WORTH_BITS:
            continue
        last = max(history.counts, key=lambda count: count.at)
        worthwhile.append(
            WorthCounting(reel=reel, interval=intervals[vars(reel)["newest"]], layers=last.layers, wraps=last.wraps,
                          worth=worth)
        )  # fmt: skip
    return sorted(worthwhile, key=lambda each: (-each.worth.worth_bits, each.reel.serial))


def _most_doubtful(reels: QuerySet[Reel]) -> QuerySet[Reel]:
    newest = AssessedInterval.objects.filter(assessment__reel=OuterRef("pk")).order_by("-to_at", "-id")
    return (
        with_status(reels)
        .annotate(newest=Subquery(newest.values("pk")[:1]), newest_p=Subquery(newest.values("p_unlogged_cut")[:1]))
        .filter(newest_p__gte=LEAST_P, newest_p__lte=1 - LEAST_P)
        .annotate(off_even=Abs(F("newest_p") - 0.5))
        .order_by("off_even", "serial")[:WEIGHED]
    )
