"""`manage.py encrypt_devices`: the secrets of all second factors encrypted by the newest key."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from reels.domain.words import counted
from reels.services.second_factor import encrypt_anew


class Command(BaseCommand):
    help = (
        "Encrypts the secrets of all second factors by the first key of DEVICE_KEYS_FILE, or by the secret key where "
        "there is none; nobody has to set up a device again. Afterwards the older keys can go."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        done, lost = encrypt_anew()
        self.stdout.write(f"{counted(done, 'device')} encrypted by the newest key.")
        if lost:
            raise CommandError(f"{counted(lost, 'device')} encrypted by a key that is not there: keep the older keys.")
