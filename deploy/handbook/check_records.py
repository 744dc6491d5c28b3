"""Check Wrapledger's records without Wrapledger: one file, the standard library, and `cryptography` for signatures.

    python check_records.py checkpoint  CHECKPOINT.txt KEY
    python check_records.py history     HISTORY.jsonl [CHECKPOINT.txt KEY PROOF.json]
    python check_records.py end         HISTORY.jsonl CHECKPOINT.txt KEY END.json
    python check_records.py absent      CHAIN CHECKPOINT.txt KEY END.json
    python check_records.py consistency EARLIER.txt LATER.txt KEY PROOF.json
    python check_records.py signatures  SIGNATURES.json [HISTORY.jsonl]

KEY is the service's public key, 64 hexadecimal digits, got from its administrator by another way than the file; where
it was changed, both keys with a comma between them.
Each check prints what it found in words and ends with 0 when all holds, 1 when something does not, 2 when a file
can't be read. What can't be found here: an act that was never recorded, and a service that lied from the first day.

HISTORY.jsonl holds one line for each entry of a history: {"content": base64 of its bytes}. An entry's bytes are
canonical JSON (RFC 8785); its digest is their SHA-256; `prev` in it is the digest of the entry before, 64 zeros for the
first. PROOF.json is {"index", "size", "hashes"} or {"first", "second", "hashes"} as RFC 9162 section 2.1 has them; a
leaf is SHA-256(0x00 ‖ digest), a node SHA-256(0x01 ‖ left ‖ right). An inclusion proof for one entry of a history is
one for all entries before it, since each holds the digest of the one before; that nothing after it is withheld is shown
by END.json, {"key", "end", "hashes"}: of a checkpoint of form 2, the way from a leaf of the tree over the ends of all
histories up to its root. There key is SHA-256(the history's name), its bits the way down, 0 left; end is
SHA-256(how many entries, 8 bytes, the highest first ‖ digest of the last); a leaf is SHA-256(0x02 ‖ key ‖ end), a node
SHA-256(0x03 ‖ left ‖ right), a subtree without leaves 32 zero bytes, and one with a single leaf that leaf.

SIGNATURES.json is {"record": base64, "signatures": [{"statement": base64, "digest"}]}; a statement names the SHA-256 of
the record. Whoever makes such a file can make it fit itself: with the history, which tells the digests of the record
and of each signature, it is checked that they are those that were recorded.
"""

import base64
import hashlib
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

HEADINGS = ("Wrapledger checkpoint, form 1\n", "Wrapledger checkpoint, form 2\n")


class Broken(Exception):
    """Something does not hold."""


def sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


def split(size: int) -> int:
    """The largest power of two below a size."""
    return 1 << ((size - 1).bit_length() - 1)


# Checkpoints --------------------------------------------------------------------------------------------------------


def checkpoint(text: str, keys: str) -> dict[str, str]:
    """What a checkpoint says, once its signature holds for this key, or one of these."""
    body, label, signature = text.partition("signature: ")
    if not label or not body.startswith(HEADINGS):
        raise Broken("this is not a checkpoint of form 1 or 2")
    if not any(is_signed(body, signature, key) for key in keys.split(",")):
        raise Broken("the checkpoint's signature does not hold for this key")
    return dict(line.split(": ", 1) for line in body.splitlines()[1:])


def is_signed(body: str, signature: str, key: str) -> bool:
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature.strip()), body.encode())
    except (InvalidSignature, ValueError):
        return False
    return True


def root_over(leaf: bytes, index: int, size: int, hashes: list[bytes]) -> bytes:
    """The root of a tree of a size, from one leaf and its inclusion proof.

    Raises ValueError for too few or too many hashes. The last hash is that of the subtree beside the leaf's at the top;
    those before it prove the leaf in its own subtree.
    """
    if size == 1:
        [] = hashes
        return leaf
    *inner, beside = hashes
    k = split(size)
    if index < k:
        return node(root_over(leaf, index, k, inner), beside)
    return node(beside, root_over(leaf, index - k, size - k, inner))


def old_and_new(first: int, size: int, hashes: list[bytes], earlier_root: bytes | None) -> tuple[bytes, bytes]:
    """The roots of the first leaves and of all, from a consistency proof. Raises ValueError as above.

    earlier_root: while the earlier tree is still a left part of this one, its root is known and not in the proof.
    """
    if first == size:
        [root] = [earlier_root, *hashes] if earlier_root else hashes
        return root, root
    *inner, beside = hashes
    k = split(size)
    if first <= k:
        old, new = old_and_new(first, k, inner, earlier_root)
        return old, node(new, beside)
    old, new = old_and_new(first - k, size - k, inner, None)
    return node(beside, old), node(beside, new)


def check_consistency(earlier: dict[str, str], later: dict[str, str], proof: dict[str, Any]) -> None:
    first, second = int(earlier["entries"]), int(later["entries"])
    if not 0 < first <= second:
        raise Broken(f"the earlier checkpoint has {first} entries, the later one {second}")
    earlier_root = bytes.fromhex(earlier["root"])
    try:
        roots = old_and_new(first, second, [bytes.fromhex(each) for each in proof["hashes"]], earlier_root)
    except ValueError:
        raise Broken("the proof has too few hashes, or too many") from None
    if roots != (earlier_root, bytes.fromhex(later["root"])):
        raise Broken("the later records do not begin with the earlier ones: something was changed, removed or put in")


def check_inclusion(digests: list[str], signed: dict[str, str], proof: dict[str, Any]) -> int:
    """How many of a history's entries the checkpoint covers at least: up to the one that the proof is for."""
    size, index = int(signed["entries"]), int(proof["index"])
    if int(proof["size"]) != size or not 0 <= index < size:
        raise Broken(f"the proof is for entry {index} of {proof['size']}; the checkpoint has {size}")
    hashes = [bytes.fromhex(each) for each in proof["hashes"]]
    for covered in range(len(digests), 0, -1):
        leaf = hashlib.sha256(b"\x00" + bytes.fromhex(digests[covered - 1])).digest()
        try:
            root = root_over(leaf, index, size, hashes)
        except ValueError:
            raise Broken("the proof has too few hashes, or too many") from None
        if root.hex() == signed["root"]:
            return covered
    raise Broken("the proof is for no entry of this history, or it was another one when the checkpoint was made")


# The ends of histories ----------------------------------------------------------------------------------------------


def root_from(leaf: bytes, key: bytes, hashes: list[str]) -> str:
    """The root over the ends, from a leaf, or 32 zero bytes for none, and the hashes beside its way, from below."""
    way = int.from_bytes(key, "big")
    for depth, beside in zip(range(len(hashes) - 1, -1, -1), map(bytes.fromhex, hashes), strict=True):
        sides = beside + leaf if way >> (255 - depth) & 1 else leaf + beside
        leaf = hashlib.sha256(b"\x03" + sides).digest()
    return leaf.hex()


def ends_of(signed: dict[str, str], proof: dict[str, Any]) -> str:
    """The root over the ends that a checkpoint tells."""
    if "ends" not in signed:
        raise Broken("the checkpoint is of form 1, which tells nothing of where histories end")
    if len(proof["hashes"]) > 256:
        raise Broken("the proof has more hashes than a way can have")
    return signed["ends"]


def check_end(name: str, digests: list[str], signed: dict[str, str], proof: dict[str, Any]) -> int:
    """With how many entries the history ended when the checkpoint was made."""
    root, key = ends_of(signed, proof), hashlib.sha256(name.encode()).digest()
    for count in range(len(digests), 0, -1):
        end = hashlib.sha256(count.to_bytes(8, "big") + bytes.fromhex(digests[count - 1])).digest()
        if root_from(hashlib.sha256(b"\x02" + key + end).digest(), key, proof["hashes"]) == root:
            return count
    raise Broken(f"{name} had another end when the checkpoint was made: entries are withheld, or are not those")


def check_absent(name: str, signed: dict[str, str], proof: dict[str, Any]) -> None:
    """That there was no history of this name when the checkpoint was made."""
    root, key = ends_of(signed, proof), hashlib.sha256(name.encode()).digest()
    leaf = bytes(32)
    if proof["key"] is not None:
        other, depth = bytes.fromhex(proof["key"]), len(proof["hashes"])
        if other == key or (int.from_bytes(other, "big") ^ int.from_bytes(key, "big")) >> (256 - depth):
            raise Broken(f"the proof is of a leaf that does not show that there was no {name}")
        leaf = hashlib.sha256(b"\x02" + other + bytes.fromhex(proof["end"])).digest()
    if root_from(leaf, key, proof["hashes"]) != root:
        raise Broken(f"the proof does not show that there was no {name}")


# Histories and signatures -------------------------------------------------------------------------------------------


def check_history(lines: Iterator[str]) -> tuple[str, list[str]]:
    """The chain's name and the digests of its entries, once every entry follows the one before."""
    name, prev = None, "0" * 64
    digests: list[str] = []
    for line in lines:
        content = base64.b64decode(json.loads(line)["content"], validate=True)
        entry = json.loads(content)
        seq = len(digests) + 1
        name = name or entry["chain"]
        if (entry["chain"], entry["seq"], entry["prev"]) != (name, seq, prev):
            raise Broken(
                f"entry {seq} of {name} is {entry['chain']} entry {entry['seq']}, or does not follow the one before"
            )
        prev = sha256(content)
        digests.append(prev)
    if name is None:
        raise Broken("the history is empty")
    return name, digests


def check_signatures(exported: dict[str, Any]) -> list[str]:
    """A sentence for each signature, once each is for this very record and by different people."""
    record = base64.b64decode(exported["record"], validate=True)
    sentences, signers = [], set()
    for each in exported["signatures"]:
        content = base64.b64decode(each["statement"], validate=True)
        statement = json.loads(content)
        if sha256(content) != each["digest"]:
            raise Broken(f"the statement of {statement['person']['name']} was changed")
        if statement["record"] != sha256(record):
            raise Broken(f"{statement['person']['name']} signed another record than this one")
        signers.add(statement["person"]["id"])
        sentences.append(f"“{statement['meaning']}” by {statement['person']['name']}, {statement['at']}")
    if not sentences:
        raise Broken("there is no signature")
    if len(signers) != len(sentences):
        raise Broken("two signatures are by the same person")
    return sentences


def check_recorded(exported: dict[str, Any], lines: list[str]) -> None:
    """That a whole history tells of this record and of each of its signatures, by their digests."""
    check_history(iter(lines))
    entries = [json.loads(base64.b64decode(json.loads(line)["content"])) for line in lines]
    recorded = {change["after"].get("digest") for entry in entries for change in entry["changes"]}
    record = sha256(base64.b64decode(exported["record"], validate=True))
    for digest in (record, *(each["digest"] for each in exported["signatures"])):
        if digest not in recorded:
            raise Broken(f"the history tells of no record or signature with the digest {digest}")


# Commands -----------------------------------------------------------------------------------------------------------


def text(path: str) -> str:
    return Path(path).read_text(encoding="utf-8")


def run_checkpoint(path: str, key: str) -> str:
    signed = checkpoint(text(path), key)
    return f"The checkpoint of {signed['made']} over {signed['entries']} entries in {signed['chains']} chains holds."


def run_history(path: str, *rest: str) -> str:
    with Path(path).open(encoding="utf-8") as lines:
        name, digests = check_history(lines)
    whole = f"{name}: {len(digests)} entries, whole"
    if not rest:
        return f"{whole}, ending in {digests[-1]}."
    signed_path, key, proof_path = rest
    covered = check_inclusion(digests, checkpoint(text(signed_path), key), json.loads(text(proof_path)))
    return f"{whole}; the first {covered} were there when the checkpoint was made."


def run_end(path: str, signed_path: str, key: str, proof_path: str) -> str:
    with Path(path).open(encoding="utf-8") as lines:
        name, digests = check_history(lines)
    count = check_end(name, digests, checkpoint(text(signed_path), key), json.loads(text(proof_path)))
    since = f"; {len(digests) - count} came since" if count < len(digests) else ""
    return f"{name}: {len(digests)} entries, whole; {count} were all there were when the checkpoint was made{since}."


def run_absent(name: str, signed_path: str, key: str, proof_path: str) -> str:
    check_absent(name, checkpoint(text(signed_path), key), json.loads(text(proof_path)))
    return f"There was no history {name} when the checkpoint was made."


def run_consistency(earlier: str, later: str, key: str, proof: str) -> str:
    check_consistency(checkpoint(text(earlier), key), checkpoint(text(later), key), json.loads(text(proof)))
    return "Nothing that the earlier checkpoint covers was changed, removed or put in between since."


def run_signatures(path: str, *history: str) -> str:
    exported = json.loads(text(path))
    signed = "The signatures hold: " + "; ".join(check_signatures(exported)) + "."
    for each in history:
        check_recorded(exported, text(each).splitlines())
        signed += " The history tells of the record and of each of them."
    return signed


COMMANDS = {
    "checkpoint": (run_checkpoint, (2,)),
    "history": (run_history, (1, 4)),
    "end": (run_end, (4,)),
    "absent": (run_absent, (4,)),
    "consistency": (run_consistency, (4,)),
    "signatures": (run_signatures, (1, 2)),
}


def main(arguments: list[str]) -> int:
    name, *rest = arguments or [""]
    command, counts = COMMANDS.get(name, (None, ()))
    if command is None or len(rest) not in counts:
        print(__doc__)
        return 2
    try:
        print(command(*rest))  # type: ignore[operator]  # each takes the files that it names
    except Broken as broken:
        print(f"BROKEN: {broken}.")
        return 1
    except (OSError, ValueError, KeyError, TypeError) as unreadable:
        print(f"This cannot be read: {type(unreadable).__name__}: {unreadable}.")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
