"""What the tests of notices share: somebody who asked, a mail server, and runs at a time."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pytest

from reels.models import Person, Site
from reports.domain.notices import Cause, NoticeKind
from reports.services import notices
from tests.builders import NOW
from tests.smtp_server import MailServer, mail_server

EVERY_KIND = tuple(NoticeKind)


@pytest.fixture
def server(settings: Any) -> Iterator[MailServer]:
    """Mail goes over a real connection to a server that keeps it."""
    with mail_server() as running:
        settings.EMAIL_BACKEND = notices.SMTP
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", running.port
        settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
        settings.DEFAULT_FROM_EMAIL, settings.PUBLIC_URL = "records@wrapledger.example", "https://records.example"
        yield running


def asks(person: Person, *kinds: NoticeKind, site: Site | None = None) -> None:
    """The person wants these kinds (all, if none is named), at this site or at every one."""
    chosen = [(kind, site) for kind in kinds or EVERY_KIND]
    notices.choose(person, address=f"{person.username}@mail.example", chosen=chosen, at=NOW)


def no_links(cause: Cause) -> tuple[str, str]:
    return "", ""


def run(at: datetime = NOW) -> notices.NoticeRun:
    return notices.run(lambda: at, no_links)
