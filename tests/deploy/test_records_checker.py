"""The stand-alone checker, run as an auditor runs it: on files, and on files that were tampered with."""

import base64
import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from inspections.models import SignOff
from reels.domain import checkpoint, merkle
from reels.domain.checkpoint import Checkpoint
from reels.models import HistoryEntry
from tests import builders
from tests.builders import Cast

CHECKER = Path(__file__).parents[2] / "deploy" / "handbook" / "check_records.py"
# RFC 8032 section 7.1, TEST 1: the secret key and its public key. Several secondary sources agree.
KEY = Ed25519PrivateKey.from_private_bytes(
    bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
)
PUBLIC = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"


def check(*arguments: object) -> tuple[int, str]:
    ended = subprocess.run([sys.executable, CHECKER, *map(str, arguments)], capture_output=True, text=True, check=False)
    assert ended.stderr == ""
    return ended.returncode, ended.stdout


def written(path: Path, content: str) -> Path:
    path.write_text(content, encoding="utf-8")
    return path


def base64_of(content: bytes | memoryview) -> str:
    return base64.b64encode(bytes(content)).decode()


def checkpoint_of(leaves: list[bytes]) -> str:
    facts = Checkpoint(service="larkspur", made_at=datetime(2026, 3, 2, tzinfo=UTC), entries=len(leaves), chains=1,
                       root=merkle.root(leaves).hex(), key=PUBLIC)  # fmt: skip
    return checkpoint.signed_text(facts, KEY)


def proof(hashes: list[bytes], **where: int) -> str:
    return json.dumps({**where, "hashes": [each.hex() for each in hashes]})


LEAVES = [checkpoint.leaf_of(f"{number:064x}") for number in range(7)]


def test_a_checkpoint_holds_for_its_key_and_for_no_other(tmp_path):
    assert checkpoint.public_hex(KEY) == PUBLIC
    text = checkpoint_of(LEAVES)
    assert checkpoint.text_fault(text, key=PUBLIC) is None
    kept = written(tmp_path / "kept.txt", text)
    code, said = check("checkpoint", kept, PUBLIC)
    assert (code, said) == (
        0, "The checkpoint of 2026-03-02T00:00:00.000000Z over 7 entries in 1 chains holds.\n",
    )  # fmt: skip
    assert check("checkpoint", kept, "00" * 32)[0] == 1
    assert checkpoint.text_fault(text, key="00" * 32) == "it names another key than the one that is trusted"
    changed = text.replace("entries: 7", "entries: 8")
    assert checkpoint.text_fault(changed, key=PUBLIC) == "its signature does not hold"
    assert check("checkpoint", written(tmp_path / "changed.txt", changed), PUBLIC)[0] == 1
    assert check("checkpoint", written(tmp_path / "none.txt", "anything"), PUBLIC)[0] == 1


def test_a_later_checkpoint_must_begin_with_the_earlier_one(tmp_path):
    earlier, later = checkpoint_of(LEAVES[:4]), checkpoint_of(LEAVES)
    files = [written(tmp_path / "earlier.txt", earlier), written(tmp_path / "later.txt", later), PUBLIC]
    shown = written(tmp_path / "proof.json", proof(merkle.consistency_proof(4, LEAVES), first=4, second=7))
    assert check("consistency", *files, shown)[0] == 0
    tampered = [merkle.leaf_hash(b"another"), *LEAVES[1:]]
    files[1] = written(tmp_path / "later.txt", checkpoint_of(tampered))
    shown = written(tmp_path / "proof.json", proof(merkle.consistency_proof(4, tampered), first=4, second=7))
    assert check("consistency", *files, shown) == (
        1, "BROKEN: the later records do not begin with the earlier ones: something was changed, removed or put in.\n",
    )  # fmt: skip


@pytest.mark.django_db
def test_a_history_is_whole_and_its_end_was_there(tmp_path):
    builders.make_reel()
    builders.log_cut(Cast())
    entries = HistoryEntry.objects.filter(chain__name="reel:LW-0001").order_by("seq")
    last = entries.last()
    assert last is not None
    lines = [json.dumps({"content": base64_of(entry.content)}) for entry in entries]
    history = written(tmp_path / "history.jsonl", "\n".join(lines))
    leaves = [*LEAVES, checkpoint.leaf_of(last.digest)]
    kept = written(tmp_path / "kept.txt", checkpoint_of(leaves))
    shown = written(tmp_path / "proof.json", proof(merkle.inclusion_proof(7, leaves), index=7, size=8))
    assert check("history", history)[0] == 0
    assert check("history", history, kept, PUBLIC, shown)[0] == 0
    assert check("history", written(tmp_path / "short.jsonl", lines[0]), kept, PUBLIC, shown)[0] == 1
    assert check("history", written(tmp_path / "gap.jsonl", lines[1]))[0] == 1
    assert check("history", written(tmp_path / "empty.jsonl", ""))[0] == 1
    assert check("history", written(tmp_path / "odd.jsonl", "no line of a history"))[0] == 2


@pytest.mark.django_db
def test_signatures_are_by_different_people_and_for_this_record(tmp_path):
    builders.make_reel()
    inspection = builders.signed_count(Cast())
    given = SignOff.objects.filter(inspection=inspection)
    signatures = [{"statement": base64_of(each.statement), "digest": each.digest} for each in given]
    export = {"record": base64_of(inspection.record.content), "signatures": signatures}

    def verdict(**changes: object) -> int:
        return check("signatures", written(tmp_path / "signatures.json", json.dumps({**export, **changes})))[0]

    assert verdict() == 0
    assert verdict(record=base64_of(b"another")) == 1
    assert verdict(signatures=[signatures[0], signatures[0]]) == 1
    assert verdict(signatures=[{**signatures[0], "digest": signatures[1]["digest"]}]) == 1
    assert verdict(signatures=[]) == 1


def test_it_says_how_it_is_used():
    code, said = check()
    assert (code, "check_records.py checkpoint" in said) == (2, True)
