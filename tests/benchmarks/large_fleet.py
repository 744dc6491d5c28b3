"""A large fleet, put straight into PostgreSQL's tables, to look at what reading costs beside it.

Its histories are not chained: it is made to be read, and verify_records would rightly find fault with it.
"""

from collections.abc import Iterator
from datetime import date
from itertools import islice
from typing import Any

from django.db import connection, models

from inspections.services.status_rows import rebuild_status_rows
from reels.models import Chain, FeedPlace, Reel
from tests import builders
from tests.builders import NOW

ROWS_AT_ONCE = 2000
# What grows with the fleet; only these may not be read from one end to the other.
LARGE = (
    "reels_reel", "reels_chain", "reels_historyentry", "reels_feedplace", "inspections_importedcount",
    "reports_standing",
)  # fmt: skip
COUNTS = """
    INSERT INTO inspections_importedcount
           (reel_id, counted_at, recorded_at, layers, wraps, counted_by, verified_by, document, publication,
            revision)
    SELECT reel.id, %(now)s - k * interval '14 days', %(now)s - k * interval '14 days', 12, 10 + k %% 3, '', '', '',
           '', ''
      FROM reels_reel reel, generate_series(1, %(each)s) k WHERE reel.serial >= %(first)s ORDER BY reel.serial, k"""
ENTRIES = """
    INSERT INTO reels_historyentry (chain_id, seq, at, act, prev, digest, content)
    SELECT reel.chain_id, k, %(now)s, 'count_imported', repeat('0', 64),
           md5(reel.serial || k) || md5(k || reel.serial), '{"v":1}'
      FROM reels_reel reel, generate_series(1, %(each)s) k WHERE reel.serial >= %(first)s ORDER BY reel.serial, k"""
PLACES = """
    INSERT INTO reels_feedplace (entry_id, number)
    SELECT entry.id, %(place)s + row_number() OVER (ORDER BY entry.id)
      FROM reels_historyentry entry LEFT JOIN reels_feedplace place ON place.entry_id = entry.id
     WHERE place.entry_id IS NULL"""


def fill(reels: int, counts_each: int) -> None:
    """So many further reels at Kettle Point, each with so many older counts, entries and places in the feed."""
    begin = Reel.objects.count()
    serials = [f"ZZ-{n:06}" for n in range(begin, begin + reels)]  # after all others
    kind, site = builders.make_type(), builders.make_site()
    write(Chain(name=f"reel:{serial}", length=counts_each, head=f"{serial:0>64}") for serial in serials)
    chains = dict(Chain.objects.filter(name__gte=f"reel:{serials[0]}").values_list("name", "pk"))
    write(Reel(serial=serial, type=kind, site=site, chain_id=chains[f"reel:{serial}"], received_on=date(2020, 1, 1),
               cable_length_m=400) for serial in serials)  # fmt: skip
    place = FeedPlace.objects.aggregate(last=models.Max("number"))["last"] or 0
    given = {"now": NOW, "each": counts_each, "first": serials[0], "place": place}
    with connection.cursor() as cursor:
        cursor.execute("SET statement_timeout = 0")
        cursor.execute("SET session_replication_role = replica")  # no look at what each row refers to
        for statement in (COUNTS, ENTRIES, PLACES):
            cursor.execute(statement, given)
        cursor.execute("RESET session_replication_role")
        cursor.execute("RESET statement_timeout")
    for _ in rebuild_status_rows():  # as acts would have kept them
        pass
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def write(rows: Iterator[models.Model]) -> None:
    while some := list(islice(rows, ROWS_AT_ONCE)):
        manager: Any = type(some[0])._default_manager
        manager.bulk_create(some)
