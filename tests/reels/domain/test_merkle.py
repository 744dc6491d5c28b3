"""The Merkle tree against the published vectors, and its laws.

Source of the vectors: google/certificate-transparency cpp/merkletree/merkle_tree_test.cc and transparency-dev/merkle
testonly/constants.go, which are identical; read in source text.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reels.domain import merkle

DATA = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
INCLUSION = {
    (0, 8): [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ],
    (5, 8): [
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
    (2, 3): ["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"],
    (1, 5): [
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    ],
}
CONSISTENCY = {
    (1, 8): INCLUSION[0, 8],
    (6, 8): [
        "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
    (2, 5): [
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    ],
}
LEAVES = [merkle.leaf_hash(bytes.fromhex(data)) for data in DATA]
sizes = st.integers(1, 40)


def numbered(count: int) -> list[bytes]:
    return [merkle.leaf_hash(str(i).encode()) for i in range(count)]


def subtrees(leaves: list[bytes]) -> merkle.SubtreeRoot:
    return lambda places: merkle.root(leaves[places.start : places.stop])


def test_the_roots_are_the_published_ones():
    assert [merkle.root(LEAVES[:n]).hex() for n in range(9)] == ROOTS


@pytest.mark.parametrize(("index", "size"), INCLUSION)
def test_the_inclusion_proofs_are_the_published_ones(index, size):
    proof = merkle.inclusion_proof(index, size, subtrees(LEAVES))
    assert [each.hex() for each in proof] == INCLUSION[index, size]
    assert merkle.includes(LEAVES[index], index, size, proof, bytes.fromhex(ROOTS[size]))


@pytest.mark.parametrize(("first", "second"), CONSISTENCY)
def test_the_consistency_proofs_are_the_published_ones(first, second):
    proof = merkle.consistency_proof(first, second, subtrees(LEAVES))
    assert [each.hex() for each in proof] == CONSISTENCY[first, second]
    assert merkle.is_consistent(first, bytes.fromhex(ROOTS[first]), second, bytes.fromhex(ROOTS[second]), proof)


@given(sizes, st.data())
def test_every_leaf_is_shown_at_its_place_and_at_no_other(size, data):
    leaves, index = numbered(size), data.draw(st.integers(0, size - 1))
    proof, root = merkle.inclusion_proof(index, size, subtrees(leaves)), merkle.root(leaves)
    assert merkle.includes(leaves[index], index, size, proof, root)
    other = data.draw(st.integers(-1, size).filter(lambda i: i != index))
    assert not merkle.includes(leaves[index], other, size, proof, root)
    assert not merkle.includes(merkle.leaf_hash(b"another"), index, size, proof, root)
    assert not merkle.includes(leaves[index], index, size, [*proof, root], root)


@given(sizes, st.data())
def test_a_tree_is_the_beginning_of_every_later_one_and_of_no_changed_one(size, data):
    first = data.draw(st.integers(1, size))
    leaves = numbered(size)
    old, proof, new = (
        merkle.root(leaves[:first]),
        merkle.consistency_proof(first, size, subtrees(leaves)),
        merkle.root(leaves),
    )
    assert merkle.is_consistent(first, old, size, new, proof)
    assert not merkle.is_consistent(first, old, size, new, [*proof, new])
    assert not proof or not merkle.is_consistent(first, old, size, new, proof[:-1])
    leaves[data.draw(st.integers(0, first - 1))] = merkle.leaf_hash(b"changed")
    changed = merkle.root(leaves)
    assert not merkle.is_consistent(first, old, size, changed, proof)
    assert not merkle.is_consistent(first, old, size, changed, merkle.consistency_proof(first, size, subtrees(leaves)))


def test_what_is_not_there_cannot_be_shown():
    with pytest.raises(IndexError, match="leaf 3 of a tree of 3"):
        merkle.inclusion_proof(3, 3, subtrees(LEAVES))
    with pytest.raises(IndexError, match="a tree of 4 leaves is no beginning of one of 3"):
        merkle.consistency_proof(4, 3, subtrees(LEAVES))
    with pytest.raises(IndexError, match="a tree of 0 leaves is no beginning of one of 3"):
        merkle.consistency_proof(0, 3, subtrees(LEAVES))
    assert not merkle.is_consistent(0, merkle.EMPTY_ROOT, 3, merkle.root(LEAVES[:3]), [])
    assert not merkle.is_consistent(0, merkle.EMPTY_ROOT, 0, merkle.EMPTY_ROOT, [])


def test_the_roots_of_a_growing_tree_are_those_of_each_size():
    leaves = [merkle.leaf_hash(bytes.fromhex(each)) for each in DATA]
    assert [(n, root.hex()) for n, root in merkle.roots_at({1, 5, 8, 9}, leaves)] == [
        (1, ROOTS[1]), (5, ROOTS[5]), (8, ROOTS[8]),
    ]  # fmt: skip
