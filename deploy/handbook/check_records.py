"""Check Wrapledger's records without Wrapledger: one file, the standard library, and `cryptography` for signatures.

    python check_records.py checkpoint  CHECKPOINT.txt KEY
    python check_records.py history     HISTORY.jsonl [CHECKPOINT.txt KEY PROOF.json]
    python check_records.py consistency EARLIER.txt LATER.txt KEY PROOF.json
    python check_records.py signatures  SIGNATURES.json

KEY is the service's public key, 64 hexadecimal digits, got from its administrator by another way than the file.
Each check prints what it found in words and ends with 0 when all holds, 1 when something does not, 2 when a file
can't be read. What can't be found here: an act that was never recorded, and a service that lied from the first day.

HISTORY.jsonl holds one line for each entry of a history: {"content": base64 of its bytes}. An entry's bytes are
canonical JSON (RFC 8785); its digest is their SHA-256; `prev` in it is the digest of the entry before, 64 zeros for the
first. PROOF.json is {"index", "size", "hashes"} or {"first", "second", "hashes"} as RFC 9162 section 2.1 has them; a
leaf is SHA-256(0x00 ‖ digest), a node SHA-256(0x01 ‖ left ‖ right). SIGNATURES.json is {"record": base64, "signatures":
[{"statement": base64, "digest"}]}; a statement names the SHA-256 of the record.
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

HEADING = "Wrapledger checkpoint, form 1\n"


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


def checkpoint(text: str, key: str) -> dict[str, str]:
    """What a checkpoint says, once its signature holds for this key."""
    body, label, signature = text.partition("signature: ")
    if not label or not body.startswith(HEADING):
        raise Broken("this is not a checkpoint of form 1")
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature.strip()), body.encode())
    except (InvalidSignature, ValueError):
        raise Broken("the checkpoint's signature does not hold for this key") from None
    return dict(line.split(": ", 1) for line in body.splitlines()[1:])


def root_over(leaf: bytes, index: int, size: int, hashes: list[bytes]) -> bytes:
    if size == 1:
        [] = hashes
        return leaf
    *inner, beside = hashes
    k = split(size)
    if index < k:
        return node(root_over(leaf, index, k, inner), beside)
    return node(beside, root_over(leaf, index - k, size - k, inner))


def old_and_new(first: int, size: int, hashes: list[bytes], whole: bytes | None) -> tuple[bytes, bytes]:
    if first == size:
        [found] = [whole, *hashes] if whole else hashes
        return found, found
    *inner, beside = hashes
    k = split(size)
    if first <= k:
        old, new = old_and_new(first, k, inner, whole)
        return old, node(new, beside)
    old, new = old_and_new(first - k, size - k, inner, None)
    return node(beside, old), node(beside, new)


def check_consistency(earlier: dict[str, str], later: dict[str, str], proof: dict[str, Any]) -> None:
    first, second = int(earlier["entries"]), int(later["entries"])
    if not 0 < first <= second:
        raise Broken(f"the earlier checkpoint has {first} entries, the later one {second}")
    whole = bytes.fromhex(earlier["root"])
    try:
        found = old_and_new(first, second, [bytes.fromhex(each) for each in proof["hashes"]], whole)
    except ValueError:
        raise Broken("the proof has too few hashes, or too many") from None
    if found != (whole, bytes.fromhex(later["root"])):
        raise Broken("the later records do not begin with the earlier ones: something was changed, removed or put in")


def check_inclusion(digest: str, signed: dict[str, str], proof: dict[str, Any]) -> None:
    size, leaf = int(signed["entries"]), hashlib.sha256(b"\x00" + bytes.fromhex(digest)).digest()
    if int(proof["size"]) != size or not 0 <= int(proof["index"]) < size:
        raise Broken(f"the proof is for a tree of {proof['size']} entries; the checkpoint has {size}")
    try:
        found = root_over(leaf, int(proof["index"]), size, [bytes.fromhex(each) for each in proof["hashes"]])
    except ValueError:
        raise Broken("the proof has too few hashes, or too many") from None
    if found.hex() != signed["root"]:
        raise Broken("the entry was not among those that the checkpoint covers, or was another one then")


# Histories and signatures -------------------------------------------------------------------------------------------


def check_history(lines: Iterator[str]) -> tuple[str, int, str]:
    """The chain's name, its number of entries and its head, once every entry follows the one before."""
    name, prev, seq = None, "0" * 64, 0
    for line in lines:
        content = base64.b64decode(json.loads(line)["content"], validate=True)
        said = json.loads(content)
        seq += 1
        name = name or said["chain"]
        if (said["chain"], said["seq"], said["prev"]) != (name, seq, prev):
            raise Broken(
                f"entry {seq} of {name} is {said['chain']} entry {said['seq']}, or does not follow the one before"
            )
        prev = sha256(content)
    if name is None:
        raise Broken("the history is empty")
    return name, seq, prev


def check_signatures(exported: dict[str, Any]) -> list[str]:
    """A sentence for each signature, once each is for this very record and by different people."""
    record = base64.b64decode(exported["record"], validate=True)
    if not exported["signatures"]:
        raise Broken("nobody has signed this record")
    sentences, signers = [], set()
    for each in exported["signatures"]:
        statement = base64.b64decode(each["statement"], validate=True)
        said = json.loads(statement)
        if sha256(statement) != each["digest"]:
            raise Broken(f"the statement of {said['person']['name']} was changed")
        if said["record"] != sha256(record):
            raise Broken(f"{said['person']['name']} signed another record than this one")
        signers.add(said["person"]["id"])
        sentences.append(f"“{said['meaning']}” by {said['person']['name']}, {said['at']}")
    if len(signers) != len(sentences):
        raise Broken("two signatures are by the same person")
    return sentences


# Commands -----------------------------------------------------------------------------------------------------------


def text(path: str) -> str:
    return Path(path).read_text(encoding="utf-8")


def run_checkpoint(path: str, key: str) -> str:
    said = checkpoint(text(path), key)
    return f"The checkpoint of {said['made']} over {said['entries']} entries in {said['chains']} chains holds."


def run_history(path: str, *rest: str) -> str:
    with Path(path).open(encoding="utf-8") as lines:
        name, length, head = check_history(lines)
    if rest:
        signed_path, key, proof_path = rest
        check_inclusion(head, checkpoint(text(signed_path), key), json.loads(text(proof_path)))
        return f"{name}: {length} entries, whole; its last entry was there when the checkpoint was made."
    return f"{name}: {length} entries, whole, ending in {head}."


def run_consistency(earlier: str, later: str, key: str, proof: str) -> str:
    check_consistency(checkpoint(text(earlier), key), checkpoint(text(later), key), json.loads(text(proof)))
    return "Nothing that the earlier checkpoint covers was changed, removed or put in between since."


def run_signatures(path: str) -> str:
    return "The signatures hold: " + "; ".join(check_signatures(json.loads(text(path)))) + "."


COMMANDS = {
    "checkpoint": (run_checkpoint, (2,)),
    "history": (run_history, (1, 4)),
    "consistency": (run_consistency, (4,)),
    "signatures": (run_signatures, (1,)),
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
