"""The sparse tree over the ends of chains: against its definition written out over all leaves, and its laws.

There is no published vector for this hashing, which is our own; the vectors are those of deploy/handbook/records.md,
computed by the few lines there (here: `written_out`), which share nothing with the module.
"""

import hashlib
import pathlib
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reels.domain.sparse_merkle import (
    EMPTY,
    Fork,
    Leaf,
    Node,
    Path,
    holds,
    is_absent,
    key_of,
    leaf_of,
    on_the_way,
    path_to,
    with_leaves,
)

HANDBOOK = pathlib.Path(__file__).resolve().parents[3] / "deploy" / "handbook" / "records.md"
names = st.sampled_from([f"reel:LW-{number:04}" for number in range(60)])
ends = st.tuples(names, st.integers(1, 2**40), st.binary(min_size=32, max_size=32).map(bytes.hex))
fleets = st.lists(ends, max_size=25, unique_by=lambda each: each[0])
End = tuple[str, int, str]


def written_out(leaves: list[tuple[str, bytes]]) -> bytes:
    """leaves: the key as 256 characters 0 and 1, of which those on the way down so far are taken off, and the hash."""
    if len(leaves) < 2:
        return leaves[0][1] if leaves else bytes(32)
    sides = ([(key[1:], leaf) for key, leaf in leaves if key[0] == side] for side in "01")
    return hashlib.sha256(b"\x03" + b"".join(written_out(side) for side in sides)).digest()


def root_of(fleet: list[End]) -> bytes:
    leaves = []
    for chain, length, head in fleet:
        key = hashlib.sha256(chain.encode()).digest()
        end = hashlib.sha256(length.to_bytes(8, "big") + bytes.fromhex(head)).digest()
        leaves.append((f"{int.from_bytes(key, 'big'):0256b}", hashlib.sha256(b"\x02" + key + end).digest()))
    return written_out(leaves)


def grown(fleet: list[End], root: bytes = EMPTY, nodes: dict[bytes, Node] | None = None):
    """The root and all nodes once these are put in, read from no more nodes than those on their ways."""
    nodes = nodes or {}
    leaves = [leaf_of(*each) for each in fleet]
    needed = on_the_way([each.key for each in leaves], root, lambda digests: {each: nodes[each] for each in digests})
    root, made = with_leaves(root, leaves, needed)
    return root, {**nodes, **made}


VECTORS = [
    ([], "0" * 64),
    ([("register", 1, "11" * 32)], "d5b6e725c05c050d3ac830824ecf38409c284bc8c7394089d890fcdb4c5b4879"),
    (
        [("register", 1, "11" * 32), ("reel:LW-0001", 3, "22" * 32)],
        "1d97f61b68da082e6da4508f3e6832830fddeb80a1937b39e5e2f8ded6656760",
    ),
    (
        [("register", 2, "33" * 32), ("reel:LW-0001", 3, "22" * 32), ("reel:LW-0002", 1, "44" * 32)],
        "c2aa52a87d7ce52c4d3cb2b30d6d5cd2158edc3e8c4222d8ba634bc5bcfacf32",
    ),
]


@pytest.mark.parametrize(("fleet", "root"), VECTORS)
def test_roots_are_those_of_the_handbook(fleet, root):
    assert root_of(fleet).hex() == grown(fleet)[0].hex() == root
    row = "; ".join(f"`{chain}`, {length}, 32 bytes `{head[:2]}`" for chain, length, head in fleet) or "none"
    assert f"| {row} | `{root}` |" in HANDBOOK.read_text(encoding="utf-8")


@given(fleets, st.randoms())
def test_the_root_is_that_of_the_definition_in_whatever_order_chains_come(fleet, draw):
    shuffled = draw.sample(fleet, len(fleet))
    cut = draw.randint(0, len(fleet))
    root, nodes = grown(shuffled[:cut])
    root, nodes = grown(shuffled[cut:], root, nodes)
    assert root == root_of(fleet)


@given(fleets.filter(bool), st.data())
def test_an_end_that_goes_on_makes_no_more_new_nodes_than_its_way_has_and_leaves_the_earlier_root(fleet, data):
    before, nodes = grown(fleet)
    one = data.draw(st.sampled_from(fleet))
    further = (one[0], one[1] + 1, "ab" * 32)
    way = path_to(one[0], before, nodes.__getitem__)
    after, more = grown([further], before, nodes)
    assert len(more) - len(nodes) == len(way.hashes) + 1
    assert after == root_of([further if each is one else each for each in fleet])
    assert holds(leaf_of(*one), path_to(one[0], before, more.__getitem__).hashes, before)
    assert holds(leaf_of(*further), path_to(one[0], after, more.__getitem__).hashes, after)
    assert not holds(leaf_of(*one), way.hashes, after)


@given(fleets)
def test_each_chain_is_shown_to_be_there_with_its_end_and_each_other_not_to_be(fleet):
    root, nodes = grown(fleet)
    there = {each[0]: leaf_of(*each) for each in fleet}
    for number in range(60):
        name = f"reel:LW-{number:04}"
        way = path_to(name, root, nodes.__getitem__)
        if name in there:
            assert way.leaf == there[name]
            assert holds(there[name], way.hashes, root)
            assert not is_absent(name, way, root)
            assert not is_absent(name, replace(way, leaf=None), root)
        else:
            assert is_absent(name, way, root)


@given(fleets.filter(bool), st.data())
def test_no_other_end_and_no_other_hashes_show_anything(fleet, data):
    root, nodes = grown(fleet)
    chain, length, head = data.draw(st.sampled_from(fleet))
    one, hashes = leaf_of(chain, length, head), path_to(chain, root, nodes.__getitem__).hashes
    others = [(chain, length + 1, head), (chain, length, "cd" * 32), ("reel:LW-0999", length, head)]
    assert not any(holds(leaf_of(*each), hashes, root) for each in others)
    for wrong in ([*hashes, EMPTY], [EMPTY, *hashes], [EMPTY] * 257):
        assert not holds(one, wrong, root)
    for place in range(len(hashes)):
        assert not holds(one, [*hashes[:place], *hashes[place + 1 :]], root)
        assert not holds(one, [*hashes[:place], b"\1" * 32, *hashes[place + 1 :]], root)


def test_another_leaf_shows_nothing_of_a_chain_that_is_not_on_its_way():
    fleet = [(f"reel:LW-{number:04}", 1, "22" * 32) for number in range(8)]
    root, nodes = grown(fleet)
    ways = [path_to(each[0], root, nodes.__getitem__) for each in fleet]
    for number in range(100, 130):
        absent = f"reel:LW-{number:04}"
        own = path_to(absent, root, nodes.__getitem__)
        assert {id(way) for way in ways if is_absent(absent, way, root)} == {id(way) for way in ways if way == own}


def test_a_leaf_in_the_wrong_half_of_a_tree_shows_nothing():
    left, right = sorted((leaf_of(f"reel:LW-{number:04}", 1, "22" * 32) for number in range(8)), key=by_key)[::7]
    exchanged = Fork(right.hash, left.hash)
    for number in range(100, 110):
        name = f"reel:LW-{number:04}"
        there, beside = (right, left) if key_of(name)[0] < 128 else (left, right)
        assert not is_absent(name, Path(there, [beside.hash]), exchanged.hash)
        assert is_absent(name, Path(beside, [there.hash]), Fork(left.hash, right.hash).hash)


def by_key(leaf: Leaf) -> bytes:
    return leaf.key


def test_two_keys_that_part_late_have_a_fork_for_each_bit_they_share():
    pair = late_pair()
    root, nodes = grown(pair)
    ways = [path_to(each[0], root, nodes.__getitem__) for each in pair]
    assert [len(way.hashes) for way in ways] == [17, 17]
    assert ways[0].hashes[1:] == ways[1].hashes[1:] == [EMPTY] * 16
    assert sum(isinstance(each, Fork) for each in nodes.values()) == 17
    assert sum(isinstance(each, Leaf) for each in nodes.values()) == 2
    assert root == root_of(pair)


def late_pair() -> list[End]:
    """Two chains whose keys share their first 16 bits and no more, found by trying names."""
    seen: dict[bytes, str] = {}
    for number in range(100_000):
        name = f"reel:LW-{number}"
        key = key_of(name)
        if (key[:2] in seen) and (key_of(seen[key[:2]])[2] ^ key[2]) & 0x80:
            return [(seen[key[:2]], 1, "22" * 32), (name, 1, "22" * 32)]
        seen[key[:2]] = name
    raise AssertionError("none of the names do")
