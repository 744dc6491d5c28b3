"""A Merkle tree over a growing list, and the two proofs that outsiders check.

    leaf(d)    = SHA-256(0x00 ‖ d)
    node(l, r) = SHA-256(0x01 ‖ l ‖ r)
    root of n  = node(root of the first k, root of the rest), k the largest power of two below n

An inclusion proof shows that a leaf is in a tree of a known root. A consistency proof shows that a tree of n leaves is
the beginning of a later one, so that nothing before n was changed, removed or put in between. Hashes are bytes.
The first bytes differ so that a node can never be shown as a leaf, by a made-up entry whose bytes are its two hashes.
Source: RFC 9162, section 2.1 (the same hashing as RFC 6962).
"""

import hashlib
from collections.abc import Callable, Container, Iterable, Iterator, Sequence

SubtreeRoot = Callable[[range], bytes]  # of the leaves in a range of the places of a tree, as the tree has it
EMPTY_ROOT = hashlib.sha256(b"").digest()


def leaf_hash(data: bytes) -> bytes:
    """The hash of one entry."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash of two subtrees."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def split(size: int) -> int:
    """The largest power of two below a size of 2 or more: how many leaves the left subtree has."""
    return 1 << ((size - 1).bit_length() - 1)


def root(leaves: Sequence[bytes]) -> bytes:
    """The root of a tree, in one pass. leaves: leaf hashes, in order."""
    return next((hashed for _, hashed in roots_at({len(leaves)}, leaves)), EMPTY_ROOT)


def roots_at(sizes: Container[int], leaves: Iterable[bytes]) -> Iterator[tuple[int, bytes]]:
    """Each of these sizes that the tree had while it grew, with its root then; in one pass over the leaf hashes."""
    stack: list[bytes] = []  # roots of the complete subtrees so far, the largest first: the binary digits of the size
    for i, each in enumerate(leaves):
        stack.append(each)
        # two complete subtrees of one size become one, for each trailing 1 of i: as one adds 1 and carries
        for _ in range((i ^ (i + 1)).bit_length() - 1):
            right = stack.pop()
            stack.append(node_hash(stack.pop(), right))
        if i + 1 in sizes:
            yield i + 1, _fold(stack)


def inclusion_proof(index: int, size: int, root_of: SubtreeRoot) -> list[bytes]:
    """The hashes beside the way from a leaf up to the root. index: from 0, below the size.

    Raises IndexError for a leaf that is not there.
    """
    if not 0 <= index < size:
        raise IndexError(f"leaf {index} of a tree of {size}")
    return _beside(index, range(size), root_of)


def consistency_proof(first: int, size: int, root_of: SubtreeRoot) -> list[bytes]:
    """The hashes that show that the tree of the first `first` leaves is the beginning of this one; 1 <= first <= size.

    Raises IndexError for a size that the tree never had.
    """
    if not 1 <= first <= size:
        raise IndexError(f"a tree of {first} leaves is no beginning of one of {size}")
    return _subproof(first, range(size), root_of, is_whole=True)


def includes(leaf: bytes, index: int, size: int, proof: Sequence[bytes], tree_root: bytes) -> bool:
    """Whether the proof shows that the leaf hash is at this index of the tree of this size and root."""
    try:
        return 0 <= index < size and _root_over(leaf, index, size, proof) == tree_root
    except ValueError:  # the proof has too few hashes, or too many
        return False


def is_consistent(first: int, first_root: bytes, second: int, second_root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether the proof shows that the tree of `first` leaves is the beginning of the tree of `second` leaves."""
    try:
        roots = _old_and_new(first, second, proof, whole=first_root) if 0 < first <= second else None
    except ValueError:
        return False
    return roots == (first_root, second_root)


def _root_over(leaf: bytes, index: int, size: int, proof: Sequence[bytes]) -> bytes:
    if size == 1:
        [] = proof
        return leaf
    *inner, beside = proof
    k = split(size)
    if index < k:
        return node_hash(_root_over(leaf, index, k, inner), beside)
    return node_hash(beside, _root_over(leaf, index - k, size - k, inner))


def _old_and_new(first: int, size: int, proof: Sequence[bytes], *, whole: bytes | None) -> tuple[bytes, bytes]:
    """The roots of the old and of the new tree that a proof leads to.

    whole: the root of the old tree as it is claimed, as long as the way down has gone left only. A subtree that the old
    tree ends with is then all of it, whose root the checker has already, so that the proof leaves it out.
    """
    if first == size:
        [old] = [whole, *proof] if whole else proof
        return old, old
    *inner, beside = proof
    k = split(size)
    if first <= k:
        old, new = _old_and_new(first, k, inner, whole=whole)
        return old, node_hash(new, beside)
    old, new = _old_and_new(first - k, size - k, inner, whole=None)
    return node_hash(beside, old), node_hash(beside, new)


def _beside(index: int, leaves: range, root_of: SubtreeRoot) -> list[bytes]:
    if len(leaves) == 1:
        return []
    k = split(len(leaves))
    if index < k:
        return [*_beside(index, leaves[:k], root_of), root_of(leaves[k:])]
    return [*_beside(index - k, leaves[k:], root_of), root_of(leaves[:k])]


def _subproof(first: int, leaves: range, root_of: SubtreeRoot, *, is_whole: bool) -> list[bytes]:
    if first == len(leaves):
        return [] if is_whole else [root_of(leaves)]
    k = split(len(leaves))
    if first <= k:
        return [*_subproof(first, leaves[:k], root_of, is_whole=is_whole), root_of(leaves[k:])]
    return [*_subproof(first - k, leaves[k:], root_of, is_whole=False), root_of(leaves[:k])]


def _fold(stack: list[bytes]) -> bytes:
    """Join the complete subtrees that are left, from the right."""
    joined = stack[-1]
    for left in reversed(stack[:-1]):
        joined = node_hash(left, joined)
    return joined
