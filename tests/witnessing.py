"""A witness of the tests: a key that only it holds, and countersignatures in the form of the handbook."""

import hashlib

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from reels.domain import checkpoint
from reels.models import Countersignature, Witness
from reels.services import checkpoints, witnesses
from reels.services.history import Actor
from tests.builders import NOW, administrator

NAME = "Heron Lake Authority"
SIGNED = "2026-03-06T10:00:00.000000Z"


def key_of(name: str = NAME) -> Ed25519PrivateKey:
    return Ed25519PrivateKey.from_private_bytes(hashlib.sha256(name.encode()).digest())


def public_of(name: str = NAME) -> str:
    return checkpoint.public_hex(key_of(name))


def countersigned_text(text: str, name: str = NAME, key: Ed25519PrivateKey | None = None, **said: str) -> str:
    """said: lines that say something else."""
    key = key or key_of(name)
    lines = {
        "witness": name, "checkpoint": hashlib.sha256(text.encode()).hexdigest(),
        "entries": checkpoint.lines_of(text)["entries"], "after": "none", "signed": SIGNED,
        "key": checkpoint.public_hex(key), **said,
    }  # fmt: skip
    body = "".join(["Wrapledger countersignature, form 1\n", *(f"{each}: {value}\n" for each, value in lines.items())])
    return f"{body}signature: {key.sign(body.encode()).hex()}\n"


def witness(name: str = NAME) -> Witness:
    return witnesses.add_witness(name=name, key=public_of(name), actor=Actor(administrator()), at=NOW)


def countersign(entries: int, name: str = NAME) -> Countersignature:
    text = countersigned_text(checkpoints.one_made(entries).text, name)
    return witnesses.take_countersignature(entries, text=text, actor=Actor(administrator()), at=NOW)
