"""Checkpoints: made on demand and by the schedule, kept, and proved from. What they are: reels/domain/checkpoint.py."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings
from django.db import transaction
from django.db.models import QuerySet

from reels import access
from reels.domain import checkpoint, merkle, sparse_merkle
from reels.domain.checkpoint import Checkpoint
from reels.domain.merkle import SubtreeRoot
from reels.domain.sparse_merkle import Fork, Leaf, Node
from reels.errors import CheckpointBroken, NotFound, NothingRecorded
from reels.models import Chain, CheckpointMade, EndsNode, FeedPlace
from reels.services import entry_blocks, feed
from reels.services.checkpoint_key import checkpoint_key
from reels.services.history import Actor

AT_ONCE = 500  # nodes in one statement


@dataclass(frozen=True, slots=True, kw_only=True)
class Inclusion:
    """That an entry is among those of a checkpoint. index: from 0; hashes: hexadecimal."""

    index: int
    size: int
    hashes: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Consistency:
    """That the entries of one checkpoint are the beginning of those of another. hashes: hexadecimal."""

    first: int
    second: int
    hashes: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainPath:
    """The way to a chain in the tree over the ends of a checkpoint's chains. key, end, hashes: hexadecimal.

    key and end: of the leaf that is there, the chain's own or another one's; None where there is none.
    """

    is_there: bool
    key: str | None
    end: str | None
    hashes: list[str]


def make_for(actor: Actor, at: datetime) -> CheckpointMade:
    """A checkpoint that an administrator asks for; as `make`. Raises OnlyAdministrators."""
    access.only_administrators(actor.person)
    return make(at)


def make(at: datetime) -> CheckpointMade:
    """A checkpoint over all that is recorded; the last one again when nothing was recorded since.

    Read and hashed is what came since the last one (entry_blocks.py). Raises CheckpointKeyMissing, NothingRecorded, or
    CheckpointBroken when the last one does not hold; whether each kept block does is for `verify_records`.
    """
    key = checkpoint_key()
    feed.number_waiting()
    if not feed.last_number():
        raise NothingRecorded()
    with transaction.atomic():
        access.lock(feed.FEED)
        entries = feed.last_number()
        entry_blocks.keep_blocks(entries)
        root_of = entry_blocks.subtree_roots()
        last = CheckpointMade.objects.order_by("entries").last()
        if last is not None and last.root != _root(last.entries, root_of):
            raise CheckpointBroken(entries=last.entries, made_at=last.made_at)
        if last is not None and last.entries == entries:
            return last
        return _kept(last, entries, _root(entries, root_of), key, at)


def inclusion(entries: int, digest: str) -> Inclusion:
    """The proof that an entry is among those of a checkpoint. digest: the entry's, hexadecimal. Raises NotFound."""
    size = one_made(entries).entries
    number = FeedPlace.objects.filter(entry__digest=digest, number__lte=size).values_list("number", flat=True).first()
    if number is None:
        raise NotFound(what=f"entry among the first {entries}", key=digest)
    proof = merkle.inclusion_proof(number - 1, size, entry_blocks.subtree_roots())
    return Inclusion(index=number - 1, size=size, hashes=[each.hex() for each in proof])


def consistency(first: int, second: int) -> Consistency:
    """The proof that one checkpoint's entries are the beginning of another's. Raises NotFound.

    first: how many entries the earlier one covers; it need not be kept here, for a copy elsewhere is what matters.
    """
    size = one_made(second).entries
    if not 1 <= first <= size:
        raise NotFound(what=f"beginning of {size} entries", key=first)
    proof = merkle.consistency_proof(first, size, entry_blocks.subtree_roots())
    return Consistency(first=first, second=size, hashes=[each.hex() for each in proof])


def chain_path(entries: int, chain: str) -> ChainPath:
    """The proof of a chain's end as of a checkpoint, or that it had no such chain. Raises NotFound."""
    made = one_made(entries)
    if not made.ends_root:
        raise NotFound(what=f"proof of a chain's end in the checkpoint over {entries} entries (form 1)", key=chain)
    path = sparse_merkle.path_to(chain, bytes.fromhex(made.ends_root), lambda digest: _nodes([digest])[digest])
    leaf = path.leaf
    return ChainPath(
        is_there=leaf is not None and leaf.key == sparse_merkle.key_of(chain),
        key=leaf.key.hex() if leaf else None,
        end=leaf.end.hex() if leaf else None,
        hashes=[each.hex() for each in path.hashes],
    )


def all_made() -> QuerySet[CheckpointMade]:
    """Every checkpoint that was made."""
    return CheckpointMade.objects.all()


def one_made(entries: int) -> CheckpointMade:
    """The checkpoint over so many entries. Raises NotFound."""
    return access.one(all_made(), "checkpoint", entries=entries)


def _kept(last: CheckpointMade | None, entries: int, root: str, key: Ed25519PrivateKey, at: datetime) -> CheckpointMade:
    ends, chains = _put_ends(last)
    unsigned = Checkpoint(
        service=" ".join(settings.SERVICE_NAME.split()),
        made_at=at,
        entries=entries,
        chains=chains,
        root=root,
        ends=ends,
        key=checkpoint.public_hex(key),
    )
    text = checkpoint.signed_text(unsigned, key)
    return CheckpointMade.objects.create(
        entries=unsigned.entries, root=unsigned.root, ends_root=unsigned.ends, made_at=at, text=text
    )


def _put_ends(last: CheckpointMade | None) -> tuple[str, int]:
    """The root over the ends of all chains, hexadecimal, and how many there are.

    Only what was numbered since the last checkpoint is read.
    """
    before, root, chains = 0, sparse_merkle.EMPTY, 0
    if last is not None and last.ends_root:
        before, root = last.entries, bytes.fromhex(last.ends_root)
        chains = int(checkpoint.lines_of(last.text)["chains"])
    entries = FeedPlace.objects.filter(number__gt=before).order_by("number")
    newest: dict[int, tuple[int, str]] = {}
    for chain, seq, head in entries.values_list("entry__chain", "entry__seq", "entry__digest").iterator(2000):
        newest[chain] = (seq, head)
        chains += seq == 1
    leaves = [sparse_merkle.leaf_of(name, *newest[chain]) for chain, name in _names(list(newest))]
    known = sparse_merkle.on_the_way([each.key for each in leaves], root, _nodes)
    after, made = sparse_merkle.with_leaves(root, leaves, known)
    rows = [_row(each) for each in made.values()]
    # A hash has one node, whoever kept it.
    EndsNode.objects.bulk_create(rows, batch_size=AT_ONCE, ignore_conflicts=True)
    return after.hex(), chains


def _names(chains: Sequence[int]) -> Iterator[tuple[int, str]]:
    """By their ids. Not by a join, for which PostgreSQL reads all chains."""
    for start in range(0, len(chains), AT_ONCE):
        yield from Chain.objects.filter(pk__in=chains[start : start + AT_ONCE]).values_list("pk", "name")


def _nodes(digests: Iterable[bytes]) -> dict[bytes, Node]:
    nodes: dict[bytes, Node] = {}
    by_hex = [each.hex() for each in digests]
    for start in range(0, len(by_hex), AT_ONCE):
        for row in EndsNode.objects.filter(digest__in=by_hex[start : start + AT_ONCE]):
            sides = bytes.fromhex(row.left), bytes.fromhex(row.right)
            nodes[bytes.fromhex(row.digest)] = Leaf(*sides) if row.is_leaf else Fork(*sides)
    return nodes


def _row(node: Node) -> EndsNode:
    left, right = (side.hex() for side in node.sides)
    return EndsNode(digest=node.hash.hex(), is_leaf=isinstance(node, Leaf), left=left, right=right)


def _root(entries: int, root_of: SubtreeRoot) -> str:
    return root_of(range(entries)).hex()
