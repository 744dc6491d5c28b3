"""What is kept for checkpoints: nodes, blocks, countersignatures; and what checking says when one is changed."""

import re
from datetime import timedelta

from django.db.models import Max

from reels.domain import ledger
from reels.models import Chain, CheckpointMade, Countersignature, EndsNode, EntriesBlock
from reels.services import checkpoints
from reels.services.checkpoint_key import checkpoint_key
from tests import witnessing
from tests.builders import NOW
from tests.reports.attacks import forget_checkpoints
from tests.reports.tampering import broken_by, delete, edit, rewritten, story

__all__ = ["story"]


def test_nodes_of_the_tree_over_the_ends_are_those_of_the_checkpoints(story):
    checkpoints.make(NOW + timedelta(days=400))
    node = EndsNode.objects.latest("pk")
    for column in ("digest", "left", "right"):
        assert "the checkpoints do not have it so" in broken_by(edit, node, column, "ab" * 32)
    assert "the checkpoints do not have it so" in broken_by(edit, node, "is_leaf", not node.is_leaf)
    assert "the checkpoints do not have it so" in broken_by(put_in_a_node)
    assert "a checkpoint has it, and it is gone" in broken_by(delete, node)


def test_the_roots_of_blocks_are_those_over_their_entries(story):
    checkpoints.make(NOW + timedelta(days=400))
    levels = EntriesBlock.objects.aggregate(highest=Max("level"))["highest"]
    assert levels > 1
    for level in range(1, levels):
        first, *_, last = EntriesBlock.objects.filter(level=level).order_by("number")
        assert "its entries have another root, or it is gone" in broken_by(edit, last, "root", "ab" * 32)
        assert "or it is gone" in broken_by(edit, last, "number", last.number + 1)
        assert "or it is gone" in broken_by(edit, first, "level", levels + 1)
    for level in (0, 61):
        assert "of a level that there is not" in broken_by(edit, EntriesBlock.objects.latest("pk"), "level", level)
    assert broken_by(EntriesBlock.objects.create, level=1, number=10**6, root="ab" * 32).endswith("so many entries")


def test_a_checkpoint_that_tells_another_number_of_histories_is_found(story):
    made = checkpoints.make(NOW + timedelta(days=400))

    def sign_another_number() -> None:
        body = re.sub("chains: .*", "chains: 99", made.text.partition("signature: ")[0])
        made.delete()
        text = f"{body}signature: {checkpoint_key().sign(body.encode()).hex()}\n"
        columns = {"root": made.root, "ends_root": made.ends_root, "made_at": made.made_at}
        CheckpointMade.objects.create(entries=made.entries, text=text, **columns)

    assert "the histories that it covers do not end where it says" in broken_by(sign_another_number)


def retold(row, **columns):
    """Changed, and the register written anew from there so that it tells the same."""
    edited = type(row)._base_manager.filter(pk=row.pk)
    edited.update(**columns)

    def tell(entry):
        for each in entry["changes"]:
            if (each["table"], each["id"]) == (row._meta.db_table, row.pk):
                each["after"].update({name: ledger.plain(value) for name, value in columns.items()})

    rewritten(Chain.objects.get(name="register"), tell)


def test_a_countersignature_is_its_witnesss_and_of_a_checkpoint_that_is_kept(story):
    row = Countersignature.objects.get()
    made = CheckpointMade.objects.get(entries=row.entries)
    forged = witnessing.countersigned_text(made.text, key=witnessing.key_of("Teal"))
    assert "it is signed with the key" in broken_by(retold, row, text=forged)
    assert "its signature does not hold" in broken_by(retold, row, text=row.text.replace("after: none", "after: 1"))
    assert broken_by(retold, row, entries=row.entries + 1).endswith("the checkpoint is gone")
    assert broken_by(retold, row, signed_at=row.signed_at + timedelta(seconds=1)).endswith("otherwise than its row")
    assert broken_by(forget_checkpoints).endswith("the checkpoint is gone")


def put_in_a_node() -> None:
    EndsNode.objects.create(digest="cd" * 32, is_leaf=True, left="ab" * 32, right="ab" * 32)


def test_a_checkpoint_that_tells_other_ends_than_the_histories_have_is_found(story):
    made = checkpoints.make(NOW + timedelta(days=400))

    def sign_other_ends() -> None:
        body = made.text.partition("signature: ")[0].replace(made.ends_root, "ab" * 32)
        made.delete()
        text = f"{body}signature: {checkpoint_key().sign(body.encode()).hex()}\n"
        CheckpointMade.objects.create(
            entries=made.entries, root=made.root, ends_root="ab" * 32, made_at=made.made_at, text=text
        )

    assert "the histories that it covers do not end where it says" in broken_by(sign_other_ends)
