"""The key that signs checkpoints: from the file that CHECKPOINT_KEY_FILE names; the demo makes its own.

Beside it, in a file of the same name and `.public`, a line each, are the public keys of it and its forerunners: what is
in the database is checked with these, and never with a key that it names itself.
"""

import os
from contextlib import suppress
from pathlib import Path

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings

from reels.domain.checkpoint import public_hex
from reels.errors import CheckpointKeyMissing


def checkpoint_key() -> Ed25519PrivateKey:
    """The key in use. Raises CheckpointKeyMissing when there is none, or when it is of another kind."""
    path = Path(settings.CHECKPOINT_KEY_FILE)
    if settings.WRAPLEDGER_ENV == "demo" and not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError):  # another process of the demo was first
            make_key(path)
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except (OSError, ValueError, TypeError) as wrong:
        raise CheckpointKeyMissing(why=f"{settings.CHECKPOINT_KEY_FILE or 'CHECKPOINT_KEY_FILE'}: {wrong}.") from wrong
    if not isinstance(key, Ed25519PrivateKey):
        raise CheckpointKeyMissing(why=f"{path} holds another kind of key than Ed25519.")
    return key


def known_keys() -> frozenset[str]:
    """The public keys that this service signs and has signed with, hexadecimal; none where no key is configured."""
    known = set()
    with suppress(CheckpointKeyMissing):
        known.add(public_hex(checkpoint_key()))
    with suppress(OSError):
        known.update(_public_file(Path(settings.CHECKPOINT_KEY_FILE)).read_text(encoding="ascii").split())
    return frozenset(known)


def make_key(path: Path) -> Ed25519PrivateKey:
    """Make a key in a file that only its owner may read, whole or not at all, and add its public key to those known.

    Raises FileExistsError.
    """
    made = Ed25519PrivateKey.generate()
    pem = made.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    draft.touch(mode=0o600)
    draft.write_bytes(pem)
    try:
        os.link(draft, path)  # fails when the file is there
    finally:
        draft.unlink()
    with _public_file(path).open("a", encoding="ascii") as known:
        known.write(f"{public_hex(made)}\n")
    return made


def _public_file(path: Path) -> Path:
    return path.with_name(f"{path.name}.public")
