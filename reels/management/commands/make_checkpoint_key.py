"""`manage.py make_checkpoint_key`: make the key that signs checkpoints."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from reels.domain.checkpoint import public_hex
from reels.services.checkpoint_key import make_key


class Command(BaseCommand):
    help = (
        "Makes the key that signs checkpoints, in the file that CHECKPOINT_KEY_FILE names, and prints the public key, "
        "which goes to everybody who keeps checkpoints, by another way than theirs. To change the key, move the old "
        "key's file away and run this again (the public keys stay, a line each, in the file of the same name and "
        ".public, by which the service knows its older checkpoints); tell them both keys, and from when the new one "
        "is used."
    )
    requires_system_checks: list[str] = []  # without a key they would say so

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.CHECKPOINT_KEY_FILE:
            raise CommandError("Set CHECKPOINT_KEY_FILE to the file that should hold the key.")
        try:
            made = make_key(Path(settings.CHECKPOINT_KEY_FILE))
        except FileExistsError as there:
            raise CommandError(f"{settings.CHECKPOINT_KEY_FILE} is there already; move it away first.") from there
        except OSError as wrong:
            raise CommandError(str(wrong)) from wrong
        self.stdout.write(f"Key in {settings.CHECKPOINT_KEY_FILE}; only its owner may read it.")
        self.stdout.write(f"Public key: {public_hex(made)}")
