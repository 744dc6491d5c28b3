"""Commands of the framework and of libraries that would write past the services, and so are refused."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError


class RefusedCommand(BaseCommand):
    """Takes whatever the other command takes, does nothing, and says what to do."""

    instead = ""
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("anything", nargs="*")

    def run_from_argv(self, argv: list[str]) -> None:
        super().run_from_argv(argv[:2])  # without options, which are refused with the rest

    def handle(self, *args: Any, **options: Any) -> None:
        raise CommandError(f"This command goes past the services of Wrapledger. {self.instead}")
