"""The service's seal key: from the files that SEAL_KEY_FILE and SEAL_CERT_FILE name; the demo makes its own."""

import os
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from cryptography import x509
from django.conf import settings
from django.utils import timezone

from reports.errors import SealMissing
from reports.pdf import seal_keys
from reports.pdf.seal_keys import SealKey

DEMO_NAME = "Wrapledger demo (proves nothing)"


def seal_key() -> SealKey:
    """The key in use. Raises SealMissing when there is none, or none that fits its certificate."""
    key_file, certificates_file = _files()
    try:
        return seal_keys.load(key_file.read_bytes(), certificates_file.read_bytes())
    except (OSError, ValueError, IndexError) as wrong:
        raise SealMissing(why=f"{key_file} and {certificates_file}: {wrong}.") from wrong


def known_fingerprints() -> frozenset[str]:
    """SHA-256 of every certificate that this service has sealed with. Raises SealMissing."""
    return frozenset(seal_keys.fingerprint(each) for each in known_certificates())


def known_certificates() -> list[x509.Certificate]:
    """Every certificate that this service has sealed with, the newest first. Raises SealMissing."""
    _, certificates_file = _files()
    try:
        return seal_keys.known_certificates(certificates_file.read_bytes())
    except (OSError, ValueError) as wrong:
        raise SealMissing(why=f"{certificates_file}: {wrong}.") from wrong


def make_key(key_file: Path, certificates_file: Path, *, name: str, at: datetime) -> SealKey:
    """Make a key and put its certificate before those of earlier keys. Raises FileExistsError for a key that is there.

    name: what the certificate says the sealer is called.
    """
    key = seal_keys.new_key(name=name, at=at)
    # Exclusive, so that no key is ever overwritten; and never readable by others, not even for a moment.
    descriptor = os.open(key_file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    with os.fdopen(descriptor, "wb") as out:
        out.write(seal_keys.key_pem(key))
    earlier = certificates_file.read_bytes() if certificates_file.exists() else b""
    draft = certificates_file.with_name(f"{certificates_file.name}.{os.getpid()}")
    draft.write_bytes(seal_keys.certificate_pem(key.certificate) + earlier)
    draft.replace(certificates_file)  # in one step: whoever reads it meanwhile gets the old file or the new one
    return key


def _files() -> tuple[Path, Path]:
    key_file, certificates_file = Path(settings.SEAL_KEY_FILE), Path(settings.SEAL_CERT_FILE)
    if settings.WRAPLEDGER_ENV == "demo" and not key_file.exists() and not certificates_file.exists():
        key_file.parent.mkdir(parents=True, exist_ok=True)
        with suppress(FileExistsError):  # another process of the demo was first
            make_key(key_file, certificates_file, name=DEMO_NAME, at=timezone.now())
    return key_file, certificates_file
