"""A sparse Merkle tree over the ends of all chains: what a chain's last entry is, and that there is no such chain.

    key(chain) = SHA-256(the chain's name in UTF-8); its 256 bits, the highest first, are the way down: 0 is left
    end        = SHA-256(how many entries, 8 bytes, the highest first ‖ digest of the last, 32 bytes)
    leaf       = SHA-256(0x02 ‖ key ‖ end)
    node(l, r) = SHA-256(0x03 ‖ l ‖ r)

A subtree without a leaf is 32 zero bytes, and one with a single leaf is that leaf, so that ways are as long as it
takes to tell the names apart and no longer; a leaf holds its whole key, so it can be shown nowhere else. Who is shown a
leaf to prove that another chain is not there learns the hash of a name, and nothing of that chain's end. There is one
tree for one set of chains, whatever the order in which they came. Nodes are kept by their hashes and never change:
after an entry only those between its chain's leaf and the root are new, and every earlier root still has its own. The
first bytes are others than those of the tree over all entries (merkle.py): nothing of one can be shown in the other.
Source: Dahlberg, Pulls and Peeters, Efficient Sparse Merkle Trees (2016), from memory; the hashing is our own.
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

EMPTY = bytes(32)
BITS = 256


@dataclass(frozen=True, slots=True)
class Leaf:
    """A chain and its end, by their hashes, 32 bytes each."""

    key: bytes
    end: bytes

    @property
    def sides(self) -> tuple[bytes, bytes]:
        """What it is hashed from, in this order."""
        return self.key, self.end

    @property
    def hash(self) -> bytes:
        """Of the leaf."""
        return hashlib.sha256(b"\x02" + self.key + self.end).digest()


@dataclass(frozen=True, slots=True)
class Fork:
    """Two subtrees, by their hashes."""

    left: bytes
    right: bytes

    @property
    def sides(self) -> tuple[bytes, bytes]:
        """What it is hashed from, in this order."""
        return self.left, self.right

    @property
    def hash(self) -> bytes:
        """Of the node over the two."""
        return hashlib.sha256(b"\x03" + self.left + self.right).digest()


Node = Leaf | Fork


@dataclass(frozen=True, slots=True)
class Path:
    """The way down to where a chain is, or would be.

    leaf: the only one of the subtree that the way ends in, of this chain or of another one; None if it has none.
    hashes: of the subtrees beside the way, from the one beside that subtree up to the one below the root.
    """

    leaf: Leaf | None
    hashes: list[bytes]


def key_of(chain: str) -> bytes:
    """Where a chain's leaf is. 32 bytes."""
    return hashlib.sha256(chain.encode()).digest()


def leaf_of(chain: str, length: int, head: str) -> Leaf:
    """A chain's leaf. length: how many entries it has; head: the digest of the last, 64 hexadecimal digits."""
    return Leaf(key_of(chain), hashlib.sha256(length.to_bytes(8, "big") + bytes.fromhex(head)).digest())


def with_leaves(root: bytes, leaves: Sequence[Leaf], nodes: Mapping[bytes, Node]) -> tuple[bytes, dict[bytes, Node]]:
    """The root after these leaves are put in, each in the place of its chain's last one, and the nodes that are new.

    leaves: one of each chain. nodes: those on the ways to these chains in the tree of this root, by their hashes.
    Raises KeyError for a node that is not among them.
    """
    made: dict[bytes, Node] = {}
    return _put(root, sorted(leaves, key=lambda each: each.key), 0, nodes, made), made


def path_to(chain: str, root: bytes, node_of: Callable[[bytes], Node]) -> Path:
    """The way to a chain in the tree of this root. node_of: the node of a hash."""
    key, digest, beside = key_of(chain), root, list[bytes]()
    while True:
        node = None if digest == EMPTY else node_of(digest)
        if not isinstance(node, Fork):
            return Path(node, beside[::-1])
        at, turn = node.sides, _bit(key, len(beside))
        digest = at[turn]
        beside.append(at[1 - turn])


def on_the_way(
    keys: Iterable[bytes], root: bytes, nodes_of: Callable[[set[bytes]], Mapping[bytes, Node]]
) -> dict[bytes, Node]:
    """All nodes on the ways to these chains, asked for a level at a time."""
    nodes: dict[bytes, Node] = {}
    level = {root: list(keys)}
    for depth in range(BITS + 1):
        level.pop(EMPTY, None)
        if not any(level.values()):
            break
        known = nodes_of(set(level))
        nodes |= known
        below: dict[bytes, list[bytes]] = {}
        for digest, keys in level.items():
            if isinstance(node := known[digest], Fork):
                for key in keys:
                    below.setdefault(node.sides[_bit(key, depth)], []).append(key)
        level = below
    return nodes


def holds(leaf: Leaf, hashes: Sequence[bytes], root: bytes) -> bool:
    """Whether the hashes show that this leaf is in the tree of this root."""
    return _root_over(leaf.hash, leaf.key, hashes) == root


def is_absent(chain: str, path: Path, root: bytes) -> bool:
    """Whether the way shows that the tree of this root has no such chain."""
    key, depth = key_of(chain), len(path.hashes)
    if path.leaf is None:
        return _root_over(EMPTY, key, path.hashes) == root
    is_elsewhere = path.leaf.key != key and _first_bits(path.leaf.key, depth) == _first_bits(key, depth)
    return is_elsewhere and _root_over(path.leaf.hash, key, path.hashes) == root


def _put(old: bytes, leaves: Sequence[Leaf], depth: int, nodes: Mapping[bytes, Node], made: dict[bytes, Node]) -> bytes:
    if not leaves:
        return old
    node = None if old == EMPTY else nodes[old]
    if isinstance(node, Leaf):  # it goes further down with the others, unless its chain has come to another end
        if all(each.key != node.key for each in leaves):
            leaves = sorted([*leaves, node], key=lambda each: each.key)
        node = None
    if node is None and len(leaves) == 1:
        return _kept(leaves[0], nodes, made)
    below = Fork(EMPTY, EMPTY) if node is None else node
    middle = next(_turns(leaves, depth), len(leaves))
    left = _put(below.left, leaves[:middle], depth + 1, nodes, made)
    return _kept(Fork(left, _put(below.right, leaves[middle:], depth + 1, nodes, made)), nodes, made)


def _kept(node: Node, nodes: Mapping[bytes, Node], made: dict[bytes, Node]) -> bytes:
    digest = node.hash
    if digest not in nodes:  # a leaf that goes further down is known already
        made[digest] = node
    return digest


def _turns(leaves: Sequence[Leaf], depth: int) -> Iterator[int]:
    return (place for place, each in enumerate(leaves) if _bit(each.key, depth))


def _root_over(digest: bytes, key: bytes, hashes: Sequence[bytes]) -> bytes | None:
    """None where there are more hashes than a way can have."""
    if len(hashes) > BITS:
        return None
    for depth, beside in zip(range(len(hashes) - 1, -1, -1), hashes, strict=True):
        digest = (Fork(beside, digest) if _bit(key, depth) else Fork(digest, beside)).hash
    return digest


def _bit(key: bytes, depth: int) -> int:
    return key[depth // 8] >> (7 - depth % 8) & 1


def _first_bits(key: bytes, count: int) -> int:
    return int.from_bytes(key, "big") >> (BITS - count)
