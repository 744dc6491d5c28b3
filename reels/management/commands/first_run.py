"""`manage.py first_run`: the link by which the first administrator of a new service makes their own login."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.urls import reverse
from django.utils import timezone

from reels.errors import Refused
from reels.services import login_links


class Command(BaseCommand):
    help = (
        "Prints a link, good once and for 24 hours, for the first administrator; another run before anybody used it "
        "puts a new one in its place. Refused once there is an administrator."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default=settings.PUBLIC_URL or "http://127.0.0.1:8000",
                            help="what the link begins with; PUBLIC_URL where it is not given")  # fmt: skip

    def handle(self, *args: Any, address: str, **options: Any) -> None:
        try:
            secret = login_links.issue_first(at=timezone.now())
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(f"{address.rstrip('/')}{reverse('login-link')}?good-once={secret}")
        self.stderr.write("Whoever opens this within 24 hours is the first administrator. It is good once.")
