"""`manage.py createsuperuser`: an administrator, told in the register like everybody else."""

import os
from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from reels.errors import Refused
from reels.services import people


class Command(BaseCommand):
    help = "Adds an administrator. The password is asked for, or taken from DJANGO_SUPERUSER_PASSWORD."

    def add_arguments(self, parser: ArgumentParser) -> None:
        for name in ("--username", "--full-name", "--staff-number"):
            parser.add_argument(name, required=True)

    def handle(self, *args: Any, **options: Any) -> None:
        password = os.environ.get("DJANGO_SUPERUSER_PASSWORD") or getpass("Password: ")
        fields = {name: options[name] for name in ("username", "full_name", "staff_number")}
        try:
            people.add_administrator(password=password, at=timezone.now(), via="command createsuperuser", **fields)
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(f"{options['full_name']} is an administrator now.")
