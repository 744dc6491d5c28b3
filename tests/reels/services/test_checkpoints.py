"""Checkpoints made, kept and proved from; and what is refused."""

import stat
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from django.db import connection
from django.test.utils import override_settings

from inspections.services import maintenance
from reels import append_only
from reels.apps import checkpoint_key_is_there
from reels.domain import checkpoint, merkle, sparse_merkle
from reels.errors import CheckpointBroken, CheckpointKeyMissing, NotFound, NothingRecorded, OnlyAdministrators
from reels.models import Chain, CheckpointMade, EndsNode, EntriesBlock, FeedPlace, HistoryEntry
from reels.services import checkpoints, entry_blocks, feed
from reels.services.checkpoint_key import checkpoint_key, make_key
from reels.services.history import Actor
from tests import builders
from tests.builders import administrator, later

pytestmark = pytest.mark.django_db


@pytest.fixture(params=[64, 4, 2])
def reel(request, monkeypatch):
    """A reel, where blocks are as large as they are, or smaller than what is recorded here."""
    monkeypatch.setattr(entry_blocks, "WIDTH", request.param)
    return builders.make_reel()


def public() -> str:
    return checkpoint.public_hex(checkpoint_key())


def digests() -> list[str]:
    return list(FeedPlace.objects.order_by("number").values_list("entry__digest", flat=True))


# Making -------------------------------------------------------------------------------------------------------------


def test_a_checkpoint_covers_every_entry_in_the_order_of_their_places(reel):
    made = checkpoints.make(later())
    assert made.entries == HistoryEntry.objects.count() == FeedPlace.objects.filter(number__isnull=False).count()
    assert made.root == merkle.root([merkle.leaf_hash(bytes.fromhex(each)) for each in digests()]).hex()
    assert checkpoint.text_fault(made.text, key=public()) is None
    said = checkpoint.lines_of(made.text)
    assert (said["entries"], said["root"], said["chains"]) == (str(made.entries), made.root, "2")


def test_the_last_one_is_given_again_until_something_is_recorded(reel):
    first = checkpoints.make(later())
    assert checkpoints.make(later(days=1)).text == first.text
    builders.make_reel("LW-0002")
    second = checkpoints.make(later(days=1))
    assert second.entries == first.entries + 1
    assert checkpoint.lines_of(second.text)["chains"] == "3"
    assert CheckpointMade.objects.count() == 2


def test_the_service_is_named_on_one_line(reel):
    with override_settings(SERVICE_NAME="larkspur\nentries: 9"):
        made = checkpoints.make(later())
    assert "service: larkspur entries: 9\n" in made.text
    assert checkpoint.lines_of(made.text)["entries"] == str(made.entries)


def test_before_anything_is_recorded_there_is_nothing_to_cover():
    with pytest.raises(NothingRecorded):
        checkpoints.make(later())


def test_only_an_administrator_may_ask_for_one(reel):
    with pytest.raises(OnlyAdministrators):
        checkpoints.make_for(Actor(builders.make_person("noel")), later())
    assert checkpoints.make_for(Actor(administrator()), later()).entries == HistoryEntry.objects.count()


def test_none_is_made_over_what_is_in_no_whole_block_and_the_last_one_does_not_hold_for(monkeypatch):
    monkeypatch.setattr(entry_blocks, "WIDTH", 64)
    builders.make_reel()  # what is changed in whole blocks is for verify_records, which reads all
    made = checkpoints.make(later())
    for sql in append_only.drop_sql(connection.vendor, HistoryEntry._meta.db_table, append_only.APPEND_ONLY):
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE" if connection.vendor == "postgresql" else "SELECT 1")
            cursor.execute(sql)
    HistoryEntry.objects.filter(digest=digests()[0]).update(digest="0" * 64)
    with pytest.raises(CheckpointBroken) as refused:
        checkpoints.make(later(days=1))
    assert f"covers {made.entries} entries" in str(refused.value)


# Proofs -------------------------------------------------------------------------------------------------------------


def test_every_entry_is_proved_to_be_among_those_of_every_checkpoint_that_covers_it(reel):
    sizes = [checkpoints.make(later()).entries]
    for n in range(2, 5):
        builders.make_reel(f"LW-000{n}")
        sizes.append(checkpoints.make(later(days=n)).entries)
    for size in sizes:
        root = bytes.fromhex(checkpoints.one_made(size).root)
        for digest in digests()[:size]:
            found = checkpoints.inclusion(size, digest)
            hashes = [bytes.fromhex(each) for each in found.hashes]
            assert merkle.includes(checkpoint.leaf_of(digest), found.index, found.size, hashes, root)
    with pytest.raises(NotFound):
        checkpoints.inclusion(sizes[0], digests()[-1])


def test_each_checkpoint_is_proved_to_be_the_beginning_of_each_later_one(reel):
    first = checkpoints.make(later())
    builders.make_reel("LW-0002")
    second = checkpoints.make(later(days=1))
    found = checkpoints.consistency(first.entries, second.entries)
    roots = bytes.fromhex(first.root), bytes.fromhex(second.root)
    hashes = [bytes.fromhex(each) for each in found.hashes]
    assert merkle.is_consistent(found.first, roots[0], found.second, roots[1], hashes)
    for wrong in (0, second.entries + 1):
        with pytest.raises(NotFound):
            checkpoints.consistency(wrong, second.entries)
    with pytest.raises(NotFound):
        checkpoints.consistency(1, second.entries + 1)


def test_what_was_kept_by_a_release_that_kept_fewer_blocks_is_proved_from_all_the_same(monkeypatch):
    monkeypatch.setattr(entry_blocks, "WIDTH", 2)
    for n in range(1, 8):
        builders.make_reel(f"LW-000{n}")
    made = checkpoints.make(later())
    root = bytes.fromhex(made.root)
    for sql in append_only.drop_sql(connection.vendor, EntriesBlock._meta.db_table, append_only.APPEND_ONLY):
        with connection.cursor() as cursor:
            cursor.execute(sql)
    EntriesBlock.objects.exclude(level=2).delete()
    for digest in digests():
        found = checkpoints.inclusion(made.entries, digest)
        hashes = [bytes.fromhex(each) for each in found.hashes]
        assert merkle.includes(checkpoint.leaf_of(digest), found.index, found.size, hashes, root)
    builders.make_reel("LW-0009")
    checkpoints.make(later(days=1))
    numbers = {level: list(EntriesBlock.objects.filter(level=level).order_by("number").values_list("number", flat=True))
               for level in (1, 2, 3)}  # fmt: skip
    whole = HistoryEntry.objects.count()
    assert numbers == {level: list(range(whole // 2**level)) for level in (1, 2, 3)}


# The ends of chains -------------------------------------------------------------------------------------------------


def ends() -> dict[str, tuple[int, str]]:
    return {row.name: (row.length, row.head) for row in Chain.objects.exclude(length=0)}


def shows(made: CheckpointMade, chain: str, end: tuple[int, str]) -> bool:
    path = checkpoints.chain_path(made.entries, chain)
    hashes = [bytes.fromhex(each) for each in path.hashes]
    return sparse_merkle.holds(sparse_merkle.leaf_of(chain, *end), hashes, bytes.fromhex(made.ends_root))


def test_every_chain_is_proved_to_have_ended_where_it_did_at_every_checkpoint(reel):
    control, at_each = Actor(builders.Cast().control), []
    for n in range(2, 7):
        made = checkpoints.make(later(days=n))
        at_each.append((made, ends()))
        builders.make_reel(f"LW-000{n}")
        if n % 2:
            maintenance.place_hold(serial=f"LW-000{n}", reason="rust", actor=control, at=later(days=n))
    for made, then in at_each:
        assert all(shows(made, chain, end) for chain, end in then.items())
        assert sum(shows(made, chain, end) for chain, end in ends().items()) < len(ends())


def test_the_root_over_the_ends_is_that_of_a_tree_made_at_once(reel):
    for n in range(2, 5):
        checkpoints.make(later(days=n))
        builders.make_reel(f"LW-000{n}")
    made = checkpoints.make(later(days=9))
    leaves = [sparse_merkle.leaf_of(chain, *end) for chain, end in ends().items()]
    root, nodes = sparse_merkle.with_leaves(sparse_merkle.EMPTY, leaves, {})
    assert made.ends_root == root.hex() == checkpoint.lines_of(made.text)["ends"]
    assert set(nodes) <= {bytes.fromhex(each) for each in EndsNode.objects.values_list("digest", flat=True)}


def test_a_chain_that_came_later_is_proved_to_have_been_absent(reel):
    first = checkpoints.make(later())
    builders.make_reel("LW-0002")
    second = checkpoints.make(later(days=1))
    for made, is_there in ((first, False), (second, True)):
        path = checkpoints.chain_path(made.entries, "reel:LW-0002")
        leaf = sparse_merkle.Leaf(bytes.fromhex(path.key or ""), bytes.fromhex(path.end or "")) if path.key else None
        way = sparse_merkle.Path(leaf, [bytes.fromhex(each) for each in path.hashes])
        absent = sparse_merkle.is_absent("reel:LW-0002", way, bytes.fromhex(made.ends_root))
        assert (path.is_there, absent) == (is_there, not is_there)


def test_a_checkpoint_of_the_first_form_has_no_proof_of_ends_and_the_next_one_has_all(reel):
    feed.number_waiting()
    root = merkle.leaf_hash(bytes.fromhex(digests()[0])).hex()
    first = CheckpointMade.objects.create(entries=1, root=root, made_at=later(), text="as it was")
    with pytest.raises(NotFound, match="form 1"):
        checkpoints.chain_path(first.entries, "register")
    made = checkpoints.make(later(days=1))
    assert all(shows(made, chain, end) for chain, end in ends().items())


# The key ------------------------------------------------------------------------------------------------------------


def test_the_demo_makes_its_own_key_once(tmp_path):
    path = tmp_path / "demo" / "key.pem"
    with override_settings(WRAPLEDGER_ENV="demo", CHECKPOINT_KEY_FILE=str(path)):
        first = public()
        assert public() == first
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert sorted(each.name for each in path.parent.iterdir()) == ["key.pem", "key.pem.public"]


def test_production_without_a_key_is_warned_and_makes_no_checkpoint(reel, tmp_path):
    for path in (str(tmp_path / "missing.pem"), ""):
        with override_settings(WRAPLEDGER_ENV="production", CHECKPOINT_KEY_FILE=path):
            [warning] = checkpoint_key_is_there()
            assert warning.id == "reels.W001"
            with pytest.raises(CheckpointKeyMissing):
                checkpoints.make(later())
    assert CheckpointMade.objects.count() == 0


def test_production_with_a_key_and_the_demo_are_not_warned(tmp_path):
    make_key(tmp_path / "key.pem")
    with override_settings(WRAPLEDGER_ENV="production", CHECKPOINT_KEY_FILE=str(tmp_path / "key.pem")):
        assert checkpoint_key_is_there() == []
    with override_settings(WRAPLEDGER_ENV="demo", CHECKPOINT_KEY_FILE="/nowhere/key.pem"):
        assert checkpoint_key_is_there() == []


def test_a_key_of_another_kind_or_no_key_at_all_is_refused(tmp_path):
    path = Path(tmp_path / "key.pem")
    pem = generate_private_key(SECP256R1()).private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    for content, why in ((pem, "another kind of key"), (b"no key", "key.pem")):
        path.write_bytes(content)
        with override_settings(CHECKPOINT_KEY_FILE=str(path)), pytest.raises(CheckpointKeyMissing, match=why):
            checkpoint_key()
