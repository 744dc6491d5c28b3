"""A countersignature: that a witness checked a checkpoint against the last one that they countersigned.

A witness is another organisation, with an Ed25519 key that only they hold. They check and sign offline
(deploy/handbook/check_records.py witness); the service takes the few lines in, keeps them and gives them out. So
whoever meets the service's checkpoints later can compare them with those that others have seen.

    Wrapledger countersignature, form 1
    witness: its name
    checkpoint: 64 hexadecimal digits, SHA-256 of the checkpoint's text
    entries: 1234
    after: how many entries the last one covered that they countersigned, or none
    signed: 2026-11-25T09:00:00.000000Z, by the witness's clock
    key: 64 hexadecimal digits, the witness's Ed25519 public key
    signature: 128 hexadecimal digits, over all lines above, each with its line feed
"""

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

MOST_CHARACTERS = 2000
_FORM = re.compile(
    r"(?P<body>Wrapledger countersignature, form 1\n"
    r"witness: (?P<witness>[^\n]{1,120})\n"
    r"checkpoint: (?P<checkpoint>[0-9a-f]{64})\n"
    r"entries: (?P<entries>[1-9][0-9]{0,17})\n"
    r"after: (?P<after>none|[1-9][0-9]{0,17})\n"
    r"signed: (?P<signed>[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z)\n"
    r"key: (?P<key>[0-9a-f]{64})\n)"
    r"signature: (?P<signature>[0-9a-f]{128})\n"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Countersigned:
    """What a countersignature says. checkpoint, key: hexadecimal. after: entries; None for a witness's first."""

    witness: str
    checkpoint: str
    entries: int
    after: int | None
    signed_at: datetime
    key: str


def countersigned(text: str) -> Countersigned | None:
    """What a text says; None for what is no countersignature of form 1, or not signed with the key that it names."""
    match = _FORM.fullmatch(text)
    if match is None:
        return None
    try:
        signed_at = datetime.fromisoformat(match["signed"])
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(match["key"]))
        key.verify(bytes.fromhex(match["signature"]), match["body"].encode())
    except (InvalidSignature, ValueError):
        return None
    return Countersigned(
        witness=match["witness"],
        checkpoint=match["checkpoint"],
        entries=int(match["entries"]),
        after=None if match["after"] == "none" else int(match["after"]),
        signed_at=signed_at,
        key=match["key"],
    )


def digest_of(checkpoint_text: str) -> str:
    """What a countersignature names a checkpoint by."""
    return hashlib.sha256(checkpoint_text.encode()).hexdigest()


def fault(text: str, *, witness: str, key: str, checkpoint_text: str) -> str | None:
    """What is wrong with a countersignature by this witness for this checkpoint, or None. key: the witness's."""
    says = countersigned(text)
    if says is None:
        return "it is no countersignature of form 1, or its signature does not hold for the key that it names"
    if says.key != key:
        return f"it is signed with the key {says.key[:12]}…, and that of {witness} is {key[:12]}…"
    if says.witness != witness:
        return f"it names {says.witness} as the witness, and {witness} has that key"
    if says.checkpoint != digest_of(checkpoint_text) or f"\nentries: {says.entries}\n" not in checkpoint_text:
        return "it is for another checkpoint"
    return None
