"""The key that signs checkpoints: from the file that CHECKPOINT_KEY_FILE names; the demo makes its own."""

import os
from contextlib import suppress
from pathlib import Path

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings

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


def make_key(path: Path) -> Ed25519PrivateKey:
    """Make a key in a file that only its owner may read, whole or not at all. Raises FileExistsError."""
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
    return made
