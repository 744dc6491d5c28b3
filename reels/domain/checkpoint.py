"""A checkpoint: what the whole service had recorded at a moment, in a few lines of text that anybody can keep.

Every entry of every history is a leaf of one Merkle tree, in the order in which the feed of changes numbers them; the
newest leaf of a chain is that chain's head. A leaf's data is the entry's digest, 32 bytes. The text says how many
leaves there were and the root over them, and is signed. Whoever keeps it can tell later, with a consistency proof,
whether anything before it was changed, removed or put in between, and with an inclusion proof, whether a record was
there. A second tree is over the ends of the chains (sparse_merkle.py): its root says of each chain how many entries it
had and which was the last, so that nobody can be shown a history whose end is withheld. Form 1 has no such root.

    Wrapledger checkpoint, form 2
    service: larkspur
    made: 2026-11-25T09:00:00.000000Z
    entries: 1234
    chains: 41
    root: 64 hexadecimal digits
    ends: 64 hexadecimal digits, the root over the ends of the chains
    key: 64 hexadecimal digits, the Ed25519 public key
    signature: 128 hexadecimal digits, over all lines above, each with its line feed

Sources: RFC 9162 section 2.1 (tree), RFC 8032 (Ed25519).
"""

from dataclasses import dataclass
from datetime import datetime

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from reels.domain import ledger, merkle

HEADING = "Wrapledger checkpoint, form 2"
HEADINGS = ("Wrapledger checkpoint, form 1", HEADING)
SIGNATURE_LABEL = "signature: "


@dataclass(frozen=True, slots=True, kw_only=True)
class Checkpoint:
    """What a checkpoint says. root, ends and key: hexadecimal."""

    service: str
    made_at: datetime
    entries: int
    chains: int
    root: str
    ends: str
    key: str


def leaf_of(entry_digest: str) -> bytes:
    """The leaf hash of a history entry. entry_digest: 64 hexadecimal digits."""
    return merkle.leaf_hash(bytes.fromhex(entry_digest))


def signed_text(checkpoint: Checkpoint, key: Ed25519PrivateKey) -> str:
    """The text of a checkpoint with its signature as the last line."""
    body = _body(checkpoint)
    return f"{body}{SIGNATURE_LABEL}{key.sign(body.encode()).hex()}\n"


def text_fault(text: str, *, key: str) -> str | None:
    """What is wrong with a checkpoint's text, or None. key: the public key that is trusted, hexadecimal."""
    body, label, signature = text.partition(SIGNATURE_LABEL)
    if not label or body.partition("\n")[0] not in HEADINGS:
        return "it is not a checkpoint of form 1 or 2"
    if f"\nkey: {key}\n" not in body:
        return "it names another key than the one that is trusted"
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(signature.strip()), body.encode())
    except (InvalidSignature, ValueError):
        return "its signature does not hold"
    return None


def lines_of(text: str) -> dict[str, str]:
    """What a checkpoint's text says, by the names of its lines; a line without a name is left out."""
    pairs = (line.partition(": ") for line in text.splitlines())
    return {name: value for name, colon, value in pairs if colon}


def public_hex(key: Ed25519PrivateKey) -> str:
    """The public key of a private one, hexadecimal."""
    return key.public_key().public_bytes_raw().hex()


def _body(checkpoint: Checkpoint) -> str:
    lines = {
        "service": checkpoint.service,
        "made": ledger.plain(checkpoint.made_at),
        "entries": checkpoint.entries,
        "chains": checkpoint.chains,
        "root": checkpoint.root,
        "ends": checkpoint.ends,
        "key": checkpoint.key,
    }
    return "".join(f"{line}\n" for line in (HEADING, *(f"{name}: {value}" for name, value in lines.items())))
