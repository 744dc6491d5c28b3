"""The order of all entries, and the checkpoints over it that are kept here."""

import re
from collections.abc import Iterable, Iterator, Mapping, Set

from django.db import models
from django.db.models import Max, Min

from reels.domain import checkpoint, countersignature, ledger, merkle, sparse_merkle
from reels.domain.sparse_merkle import Leaf, Node
from reels.models import CheckpointMade, Countersignature, EndsNode, EntriesBlock, FeedPlace, HistoryEntry
from reels.services import entry_blocks
from reels.services.checkpoint_key import known_keys
from reports.services.verification.stored_values import CHUNK, BreakFound

MOST_LEVELS = 60  # of blocks of two, for more entries than a place can be numbered


def check_checkpoints() -> None:
    """Every entry has one place; every checkpoint that is kept here holds, and is over the first of them."""
    places = FeedPlace.objects.filter(number__isnull=False).order_by("number")
    if (unplaced := HistoryEntry.objects.filter(place__isnull=True).first()) is not None:
        raise BreakFound(f"{unplaced.chain} entry {unplaced.seq}", "it has no place in the order of all entries")
    by_size = {row.entries: row for row in CheckpointMade.objects.order_by("entries")}
    known = known_keys() if by_size else frozenset()
    for row in by_size.values():
        if why := _text_fault(row, known):
            raise BreakFound(str(row), why)
    ends = EndsAtEach(by_size)
    leaves = _blocks_compared(checkpoint.leaf_of(digest) for digest in ends.passing(_in_order(places)))
    roots = {size: root.hex() for size, root in merkle.roots_at(by_size, leaves)}
    for row in by_size.values():
        if roots.get(row.entries) != row.root:
            raise BreakFound(str(row), "the entries that it covers are no longer what they were, or in another order")
    ends.check()
    _check_countersignatures(by_size)


def _check_countersignatures(by_size: Mapping[int, CheckpointMade]) -> None:
    """Every countersignature is its witness's, and of the checkpoint that is kept here."""
    for row in Countersignature.objects.order_by("pk").select_related("witness").iterator(CHUNK):
        made, says = by_size.get(row.entries), countersignature.countersigned(row.text)
        if made is None:
            raise BreakFound(str(row), "the checkpoint is gone")
        about = {"witness": row.witness.name, "key": row.witness.key, "checkpoint_text": made.text}
        if why := countersignature.fault(row.text, **about):
            raise BreakFound(str(row), why)
        if says is None or (says.entries, says.signed_at) != (row.entries, row.signed_at):
            raise BreakFound(str(row), "its text says otherwise than its row")


class EndsAtEach:
    """The tree over the ends of all chains, grown again from the entries as they pass by."""

    def __init__(self, by_size: Mapping[int, CheckpointMade]) -> None:
        self.by_size = by_size
        self.root, self.nodes = sparse_merkle.EMPTY, dict[bytes, Node]()
        self.chains = 0

    def passing(self, entries: Iterable[tuple[str, int, str]]) -> Iterator[str]:
        """The digest of each entry, once it is taken in. entries: name of the chain, number in it, digest."""
        newest: dict[str, tuple[int, str]] = {}
        for size, (chain, seq, digest) in enumerate(entries, start=1):
            newest[chain] = (seq, digest)
            self.chains += seq == 1
            if (row := self.by_size.get(size)) is not None and row.ends_root:
                self._grow(newest)
                newest = {}
                signed = row.ends_root, checkpoint.lines_of(row.text)["chains"]
                if (self.root.hex(), str(self.chains)) != signed:
                    raise BreakFound(str(row), "the histories that it covers do not end where it says")
            yield digest

    def check(self) -> None:
        """That the kept nodes are those of the tree, and no others."""
        rows = EndsNode.objects.order_by("pk").values_list("digest", "is_leaf", "left", "right")
        nodes = {
            digest.hex(): [isinstance(node, Leaf), *(side.hex() for side in node.sides)]
            for digest, node in self.nodes.items()
        }
        for digest, *stored in rows.iterator(CHUNK):
            if nodes.pop(digest, None) != stored:
                raise BreakFound(f"node {digest[:12]} of the ends of histories", "the checkpoints do not have it so")
        if nodes:
            raise BreakFound(f"node {min(nodes)[:12]} of the ends of histories", "a checkpoint has it, and it is gone")

    def _grow(self, newest: Mapping[str, tuple[int, str]]) -> None:
        leaves = [sparse_merkle.leaf_of(chain, *end) for chain, end in newest.items()]
        self.root, made = sparse_merkle.with_leaves(self.root, leaves, self.nodes)
        self.nodes |= made


class KeptBlocks:
    """The blocks of a level that are kept, beside those that are made of what passes by."""

    def __init__(self, level: int) -> None:
        rows = EntriesBlock.objects.filter(level=level).order_by("number").values_list("number", "root")
        self.name, self.rows = f"level {level} of the order of all entries", rows.iterator(CHUNK)
        self.kept = next(self.rows, None)
        self.parts: list[bytes] = []
        self.whole = 0  # how many

    def root_after(self, part: bytes) -> bytes | None:
        """The root of the block that is whole with this, the next part; None while it is not."""
        self.parts.append(part)
        if len(self.parts) < entry_blocks.WIDTH:
            return None
        root = merkle.root(self.parts)
        if self.kept is not None and self.kept != (self.whole, root.hex()):
            raise BreakFound(f"block {self.whole} of {self.name}", "its entries have another root, or it is gone")
        self.kept = self.kept and next(self.rows, None)
        self.parts, self.whole = [], self.whole + 1
        return root

    def check(self) -> None:
        """That none is left."""
        if self.kept is not None:
            raise BreakFound(f"block {self.kept[0]} of {self.name}", "there are not so many entries")


def _blocks_compared(leaves: Iterable[bytes]) -> Iterator[bytes]:
    """The leaves again; the root that is kept of each block, beside the one over what it has."""
    kept = EntriesBlock.objects.aggregate(lowest=Min("level"), highest=Max("level"))
    highest = kept["highest"] or 0
    if kept["lowest"] == 0 or highest > MOST_LEVELS:
        raise BreakFound("the order of all entries", "a block of it is of a level that there is not")
    levels = [KeptBlocks(level) for level in range(1, highest + 1)]
    for leaf in leaves:
        part: bytes | None = leaf
        for level in levels:
            part = level.root_after(part) if part else None
        yield leaf
    for level in levels:
        level.check()


def _in_order(places: "models.QuerySet[FeedPlace]") -> Iterator[tuple[str, int, str]]:
    rows = places.values_list("number", "entry__chain__name", "entry__seq", "entry__digest").iterator(CHUNK)
    for expected, (number, chain, seq, digest) in enumerate(rows, start=1):
        if number != expected:
            raise BreakFound("the order of all entries", f"place {expected} is missing; the next one is {number}")
        yield chain, seq, digest


def _text_fault(row: CheckpointMade, known: Set[str]) -> str | None:
    """What is wrong with a checkpoint's text. known: the service's public keys, in force and retired."""
    lines = checkpoint.lines_of(row.text)
    key = lines.get("key", "")
    if key not in known:  # a key that the text itself names proves nothing
        return f"it is signed with the key {key[:12]}…, which is none of this service's (CHECKPOINT_KEY_FILE)"
    if why := checkpoint.text_fault(row.text, key=key):
        return why
    if not re.fullmatch("[0-9a-f]{128}\n", row.text.partition(checkpoint.SIGNATURE_LABEL)[2]):
        return "its signature is written otherwise than the service writes it"  # such as with a blank behind it
    columns_say = (str(row.entries), row.root, row.ends_root, ledger.plain(row.made_at))
    if columns_say != (lines["entries"], lines["root"], lines.get("ends", ""), lines["made"]):
        return "its text says otherwise than its row"
    return None
