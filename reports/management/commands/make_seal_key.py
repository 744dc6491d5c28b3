"""`manage.py make_seal_key`: make the key that seals documents, or the next one."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from reports.pdf.seal_keys import fingerprint
from reports.services.seal import make_key


class Command(BaseCommand):
    help = (
        "Makes the key that seals documents, in the file that SEAL_KEY_FILE names, and puts its certificate first in "
        "that of SEAL_CERT_FILE. To change the key, move the old key's file away, run this again and restart the "
        "service; the old certificate stays in the file, so that what it sealed is still known. Publish the "
        "fingerprint where others look for it, and keep a copy of the certificates apart from the service."
    )
    requires_system_checks: list[str] = []  # without a key they would say so

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--name", default="Wrapledger", help="what the certificate says the sealer is called")

    def handle(self, *, name: str, **options: Any) -> None:
        if not settings.SEAL_KEY_FILE or not settings.SEAL_CERT_FILE:
            raise CommandError("Set SEAL_KEY_FILE and SEAL_CERT_FILE to the files that should hold them.")
        try:
            files = Path(settings.SEAL_KEY_FILE), Path(settings.SEAL_CERT_FILE)
            key = make_key(*files, name=name, at=timezone.now())
        except FileExistsError as exists:
            raise CommandError(f"{settings.SEAL_KEY_FILE} is there already; move it away first.") from exists
        except OSError as wrong:
            raise CommandError(str(wrong)) from wrong
        self.stdout.write(f"Key in {settings.SEAL_KEY_FILE}; only its owner may read it.")
        self.stdout.write(f"Certificate first in {settings.SEAL_CERT_FILE}; SHA-256 {fingerprint(key.certificate)}")
