"""Reels by any part of a name: their own, of machine and host, of who signed the latest count or is at work at one.

A status row keeps all these names as one text, in which every word has two spaces before it. So three characters are
always there to look for in an index of trigrams, which both databases have: of a word of one or two characters, those
before it are looked for as well, and it is found where a word begins with it.

A serial is found as people say it, too, letters and a number: lw38 is LW-0038.
"""

import re
from typing import Any, NamedTuple

from django.db import connections, router
from django.db.models import Exists, OuterRef, QuerySet

from inspections.models import ReelStatusRow
from inspections.names_index import TABLE
from reels.domain.text import compared

FEW = 1000
LEAST = 3  # characters of a trigram
AS_SAID = re.compile(r"([^\W\d_]+)[\W_]*0*([1-9]\d{0,7})")  # a serial's letters, and its number
BETWEEN = ("-", "", " ", "/", "_", ".")  # what serials have between the two
MOST_DIGITS = 8


class Found(NamedTuple):
    """are_few: few enough to be counted, one by one. Of more, only those are looked at that a page shows."""

    rows: QuerySet[ReelStatusRow]
    are_few: bool


def as_searched(*names: str | None) -> str:
    """The names as one text, a line each."""
    return "\n".join("".join(f"  {word}" for word in compared(name).casefold().split()) for name in names if name)


def with_word(rows: QuerySet[ReelStatusRow], word: str) -> Found:
    """Those of the rows in whose names the word occurs; all of them for none. Two queries, as dear for any word."""
    pattern = "  ".join(compared(word).casefold().split())
    if not pattern:
        return Found(rows, are_few=False)
    pattern = pattern.rjust(LEAST)
    # Of a rare word the rows are known with this. Of a frequent one any order's next page is soon full, so that order
    # is gone through, for whoever sorts all that have it does what grows with the fleet.
    some = list({*_ids_with(pattern), *_ids_of_serials(word)})
    if len(some) <= FEW:
        # Asked for both at once, SQLite would go through an index of the site's reels, however few these are.
        allowed = Exists(rows.order_by().filter(pk=OuterRef("pk")))
        return Found(ReelStatusRow.objects.filter(allowed, pk__in=some), are_few=True)
    return Found(rows.filter(names__contains=pattern), are_few=rows.order_by()[: FEW + 1].count() <= FEW)


def _ids_of_serials(word: str) -> list[int]:
    """The ids of the rows whose serial the word may mean: looked up by an index, each way of writing it."""
    as_said = AS_SAID.fullmatch(compared(word).strip())
    if not as_said:
        return []
    letters, number = as_said.groups()
    serials = [
        f"{each}{between}{number.zfill(digits)}"
        for each in {letters, letters.upper(), letters.lower()}
        for between in BETWEEN
        for digits in range(len(number), MOST_DIGITS + 1)
    ]
    return list(ReelStatusRow.objects.filter(serial__in=serials).values_list("pk", flat=True))


def _ids_with(pattern: str) -> list[int]:
    """The ids of rows that have it, one more than FEW at most."""
    using = connections[router.db_for_read(ReelStatusRow)]
    if using.vendor != "sqlite":
        ids: Any = ReelStatusRow.objects.filter(names__contains=pattern).order_by().values_list("pk", flat=True)
        return list(ids[: FEW + 1])
    phrase = '"{}"'.format(pattern.replace('"', '""'))
    with using.cursor() as cursor:
        cursor.execute(f"SELECT rowid FROM {TABLE} WHERE {TABLE} MATCH %s LIMIT {FEW + 1}", [phrase])  # noqa: S608  # our own names
        return [row[0] for row in cursor.fetchall()]
