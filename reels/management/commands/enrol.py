"""`manage.py enrol`: an enrolment where no second administrator is left to do it."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from reels import access
from reels.errors import Refused
from reels.services import people
from reels.services.history import Actor


class Command(BaseCommand):
    help = (
        "Says that it was checked whose login this is. For installations with too few administrators left; elsewhere "
        "an administrator who did not give the login does it on the page People."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--checked", required=True, help="how it was checked; it is kept")

    def handle(self, *args: Any, username: str, checked: str, **options: Any) -> None:
        try:
            person = access.person_named(username)
            people.enrol(person, checked=checked, actor=Actor(person, via="command enrol"), at=timezone.now())
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(f"{person.full_name} is enrolled now.")
