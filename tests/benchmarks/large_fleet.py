"""A large fleet, put straight into the tables, to look at what reading costs beside it.

Its histories are not chained: it is made to be read, and verify_records would rightly find fault with it.
"""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from itertools import islice
from typing import Any

from django.db import connection, models

from inspections.models import ImportedCount
from reels.models import Chain, FeedPlace, HistoryEntry, Reel
from tests import builders
from tests.builders import NOW

ROWS_AT_ONCE = 2000
# What grows with the fleet; only these may not be read from one end to the other.
LARGE = ("reels_reel", "reels_chain", "reels_historyentry", "reels_feedplace", "inspections_importedcount")


def fill(reels: int, counts_each: int, progress: Callable[[str], None] = lambda _: None) -> None:
    """So many further reels at Kettle Point, each with so many older counts, entries and places in the feed."""
    first = Reel.objects.count()
    place = FeedPlace.objects.aggregate(last=models.Max("number"))["last"] or 0
    numbers = range(first, first + reels)
    kind, site = builders.make_type(), builders.make_site()
    write(Chain(name=f"reel:BIG-{n:06}", length=counts_each, head=f"{n:064}") for n in numbers)
    chains = dict(Chain.objects.filter(name__startswith="reel:BIG-").values_list("name", "pk"))
    write(Reel(serial=f"BIG-{n:06}", type=kind, site=site, chain_id=chains[f"reel:BIG-{n:06}"],
               received_on=date(2020, 1, 1), cable_length_m=400) for n in numbers)  # fmt: skip
    progress(f"{reels} reels")
    mine = dict(Reel.objects.filter(serial__startswith="BIG-").values_list("serial", "pk"))
    write(ImportedCount(reel_id=mine[f"BIG-{n:06}"], counted_at=NOW - timedelta(days=14 * k + 1),
                        recorded_at=NOW - timedelta(days=14 * k + 1), layers=12, wraps=10 + k % 3)
          for n in numbers for k in range(counts_each))  # fmt: skip
    write(HistoryEntry(chain_id=chains[f"reel:BIG-{n:06}"], seq=k + 1, at=NOW, act="count_imported", prev=f"{k:064}",
                       digest=f"{n:032}{k:032}", content=b'{"v":1}')
          for n in numbers for k in range(counts_each))  # fmt: skip
    entries = HistoryEntry.objects.filter(place__isnull=True).order_by("pk").values_list("pk", flat=True)
    write(FeedPlace(entry_id=pk, number=place + i) for i, pk in enumerate(entries.iterator(), start=1))
    progress(f"{reels * counts_each} counts and as many entries")
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def write(rows: Iterator[models.Model]) -> None:
    while some := list(islice(rows, ROWS_AT_ONCE)):
        manager: Any = type(some[0])._default_manager
        manager.bulk_create(some)
