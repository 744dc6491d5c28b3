"""The tree over all entries as far as it is kept: the root of each block that is whole, on every level.

A block of level 1 has WIDTH entries, one of level 2 as many blocks of level 1, and so on. So of each level at most
WIDTH hashes are read for the root over all entries, and twice as many for a proof; and there is a level more when there
are WIDTH times as many entries: four of ten million.
"""

from collections.abc import Iterable, Iterator
from functools import cache, partial
from itertools import islice

from django.db.models import Max

from reels.domain import checkpoint, merkle
from reels.domain.merkle import SubtreeRoot
from reels.models import EntriesBlock, FeedPlace

WIDTH = 64  # a power of two, so that a block is a subtree of every tree that has it
AT_ONCE = 2000


def keep_blocks(entries: int) -> None:
    """Keep the root of each block that has become whole. Of each level, what is in none that is kept is read."""
    level = 1
    while whole := entries // WIDTH**level:
        last = EntriesBlock.objects.filter(level=level).aggregate(last=Max("number"))["last"]
        first = 0 if last is None else last + 1
        parts = _hashes(level - 1, range(first * WIDTH, whole * WIDTH))
        rows = map(partial(_block, level, parts), range(first, whole))
        while some := list(islice(rows, AT_ONCE)):
            EntriesBlock.objects.bulk_create(some)
        level += 1


def subtree_roots() -> SubtreeRoot:
    """The root of any subtree that a tree over entries has, with what it has read for those before it."""

    @cache
    def in_block(level: int, number: int) -> list[bytes]:
        """What a block is over: entries, or blocks of the level below it; fewer where it is not whole."""
        return list(_hashes(level - 1, range(number * WIDTH, (number + 1) * WIDTH)))

    def root_of(places: range) -> bytes:
        level, unit = 0, 1
        while unit * WIDTH <= len(places):
            level, unit = level + 1, unit * WIDTH
        # A subtree begins at a multiple of the power of two that is not below its size: it lies in one block.
        block, begin = divmod(places.start // unit, WIDTH)
        count = len(places) // unit
        parts = in_block(level + 1, block)[begin : begin + count]
        if len(parts) < count:  # not kept yet, by a release that kept fewer
            return merkle.root(list(_hashes(0, places)))
        rest = range(places.start + count * unit, places.stop)
        # What a block is to the tree over blocks, a leaf is to the tree over leaves; the last may have fewer.
        return merkle.root([*parts, *([root_of(rest)] if rest else [])])

    return root_of


def _block(level: int, parts: Iterator[bytes], number: int) -> EntriesBlock:
    """The next block. parts: what those from it on are over."""
    return EntriesBlock(level=level, number=number, root=merkle.root(list(islice(parts, WIDTH))).hex())


def _hashes(level: int, places: range) -> Iterator[bytes]:
    """Of entries (level 0), or the roots of blocks of a level, at these places, from 0."""
    if level:
        kept = EntriesBlock.objects.filter(level=level, number__gte=places.start, number__lt=places.stop)
        rows: Iterable[str] = kept.order_by("number").values_list("root", flat=True).iterator(AT_ONCE)
        return map(bytes.fromhex, rows)
    numbered = FeedPlace.objects.filter(number__gt=places.start, number__lte=places.stop).order_by("number")
    return map(checkpoint.leaf_of, numbered.values_list("entry__digest", flat=True).iterator(AT_ONCE))
