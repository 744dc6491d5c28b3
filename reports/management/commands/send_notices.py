"""`manage.py send_notices`: mail for what somebody must act on, to whoever asked for it; never twice for one cause."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.urls import reverse
from django.utils import timezone

from reports.domain.notices import Cause, NoticeKind
from reports.services import notices

PAGES = {
    NoticeKind.HOLD: lambda cause: reverse("reel", args=[cause.reel]),
    NoticeKind.FINDING: lambda cause: reverse("reel", args=[cause.reel]),
    NoticeKind.WITHDRAWAL: lambda cause: reverse("reel", args=[cause.reel]),
    NoticeKind.READ_BACK: lambda cause: reverse("setup-values", args=[cause.setup_values]),
    NoticeKind.SAFETY_NOTICE: lambda cause: reverse("safety-notice", args=[cause.key]),
    NoticeKind.LATE_MOVE: lambda cause: reverse("reel", args=[cause.reel]),
    NoticeKind.LAPSED: lambda cause: reverse("reel", args=[cause.reel]),
    NoticeKind.LIFE: lambda cause: reverse("reel", args=[cause.reel]),
    NoticeKind.FLAG: lambda cause: reverse("flag", args=[cause.key]),
}


class Command(BaseCommand):
    help = (
        "Sends e-mail notices of holds, safety notices, stop findings, withdrawals, refused read-backs, lapsed counts, "
        "lives near their ends, drift flags, reels that were sent and not received, and ending authorisations."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--again", nargs="+", type=int, default=[], metavar="ID",
                            help="Notices that were interrupted and did not arrive: send them again.")  # fmt: skip
        parser.add_argument("--arrived", nargs="+", type=int, default=[], metavar="ID",
                            help="Notices that were interrupted and did arrive: they count as sent.")  # fmt: skip

    def handle(self, *args: Any, again: list[int], arrived: list[int], **options: Any) -> None:
        self._resolve(again, as_sent=False)
        self._resolve(arrived, as_sent=True)
        if not notices.sends_mail():
            self.stdout.write("MAIL_HOST names no mail server, so nothing was looked for and nothing sent.")
            return
        result = notices.run(timezone.now, links)
        for line in (*result.refused, *result.in_doubt):
            self.stderr.write(line)
        for each in notices.interrupted(timezone.now()):
            self.stderr.write(
                f"notice {each.pk} to {each.person.username} was interrupted at {each.tried_at:%Y-%m-%d %H:%M} UTC; "
                "ask whether it arrived, then use --arrived or --again"
            )
        self.stdout.write(f"{result.sent} sent, {len(result.refused)} refused, {len(result.in_doubt)} in doubt")
        if result.stopped:
            raise CommandError(f"{result.stopped}; what waits is tried again at the next run")

    def _resolve(self, ids: list[int], *, as_sent: bool) -> None:
        resolved = notices.resolve_interrupted(ids, as_sent=as_sent, at=timezone.now())
        if others := sorted(set(ids) - set(resolved)):
            which = [each.pk for each in notices.interrupted(timezone.now())]
            raise CommandError(f"{others} were not interrupted; these were: {which}")


def links(cause: Cause) -> tuple[str, str]:
    """The page where one acts, and the one where one chooses; "" where PUBLIC_URL names no address of the service."""
    if not settings.PUBLIC_URL:
        return "", ""
    page = PAGES.get(cause.kind)
    return f"{settings.PUBLIC_URL}{page(cause)}" if page else "", f"{settings.PUBLIC_URL}{reverse('notices')}"
