"""`manage.py send_notices`: what it says, what it leaves, and what a mail is made of."""

from io import StringIO
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command

from inspections.services import flags, maintenance, setup
from inspections.services.flags import FlaggedInterval
from reels.services.history import Actor
from reports.domain.notices import NoticeKind
from reports.models import Notice
from reports.services import notices
from tests import builders
from tests.builders import NOW, Cast, later
from tests.page_fixtures import logged_in, on_the_day
from tests.reports.noticed import asks, server

__all__ = ["on_the_day", "server"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("on_the_day")]


@pytest.fixture
def cast():
    builders.make_reel("LW 0001/A")
    people = Cast()
    asks(people.control)
    return people


def held(cast):
    maintenance.place_hold(serial="LW 0001/A", reason="rust", actor=Actor(cast.control), at=NOW)


def sent(**options):
    out, err = StringIO(), StringIO()
    call_command("send_notices", stdout=out, stderr=err, **options)
    return out.getvalue().strip(), err.getvalue().strip()


def test_a_mail_comes_from_the_service_says_that_it_is_automatic_and_leads_to_the_page(cast, server):
    held(cast)
    assert sent() == ("1 sent, 0 refused, 0 in doubt", "")
    [(recipient, mail)] = server.mails
    assert (recipient, mail["From"], mail["Auto-Submitted"]) == (
        "mona@mail.example", "records@wrapledger.example", "auto-generated",
    )  # fmt: skip
    assert mail["Message-ID"].endswith("@wrapledger.example>")
    assert mail.get_content_type() == "text/plain"
    links = [line for line in mail.get_content().splitlines() if line.startswith("https://")]
    assert links == ["https://records.example/reels/LW%200001/A", "https://records.example/account/notices"]
    for link in links:
        assert logged_in(cast.control).get(link.removeprefix("https://records.example")).status_code == 200


def test_every_kind_leads_to_a_page_that_is_there(cast, server):
    by: dict[str, Any] = {"actor": Actor(cast.control), "at": NOW}
    builders.signed_count(cast, "LW 0001/A")
    values = builders.issued(cast, "LW 0001/A")
    maintenance.install(serial="LW 0001/A", machine_serial="RM-7", **by)
    setup.return_gauge(setup_id=values.pk, actor=Actor(cast.setter), at=NOW)
    setup.key_read_back(setup_id=values.pk, layers=12, wraps=11, actor=Actor(cast.setter), at=NOW)
    interval = FlaggedInterval(from_at=later(days=-9), to_at=NOW, p_unlogged_cut=0.9, explanation="shorter")
    flags.assign_flag(serial="LW 0001/A", interval=interval, to=cast.control, **by)
    sent()
    pages = [mail.get_content().split("https://records.example")[1].split()[0] for _, mail in server.mails]
    assert len(pages) == 2
    assert [logged_in(cast.control).get(page).status_code for page in pages] == [200, 200]


def test_without_the_services_address_there_is_no_link(cast, server, settings):
    settings.PUBLIC_URL = ""
    held(cast)
    sent()
    assert "http" not in server.mails[0][1].get_content()


def test_without_a_mail_server_nothing_is_written(cast, settings):
    settings.EMAIL_BACKEND, settings.EMAIL_HOST = notices.SMTP, ""
    held(cast)
    assert sent()[0].startswith("MAIL_HOST names no mail server")
    assert not Notice.objects.exists()


def test_the_demo_prints_its_mail(cast, settings, capsys):
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    held(cast)
    assert sent()[0] == "1 sent, 0 refused, 0 in doubt"
    assert "To: mona@mail.example" in capsys.readouterr().out


def test_a_server_that_is_not_there_ends_it_with_an_error(cast, server, settings):
    held(cast)
    settings.EMAIL_PORT = 1
    with pytest.raises(CommandError, match=r"did not let us in.*tried again at the next run"):
        sent()
    settings.EMAIL_PORT = server.port
    assert sent()[0] == "1 sent, 0 refused, 0 in doubt"


def test_a_refused_recipient_is_told_to_who_runs_the_service_and_on_the_page(cast, server):
    held(cast)
    server.refuses.add("mona@mail.example")
    assert "nobody here" in sent()[1]
    page = logged_in(cast.control).get("/account/notices").content.decode()
    assert "The last mail to you was refused" in page
    assert "nobody here" not in page


def test_a_person_decides_of_what_was_interrupted(cast, server):
    held(cast)
    server.lets_go = True
    assert sent()[0] == "0 sent, 0 refused, 1 in doubt"
    [notice] = Notice.objects.all()
    with pytest.raises(CommandError, match=rf"\[{notice.pk}\] were not interrupted; these were: \[\]"):
        sent(again=[notice.pk])  # it may still be under way
    server.lets_go = False
    with time_machine.travel(later(hours=1), tick=False):
        assert f"notice {notice.pk} to mona was interrupted at 2026-03-02 09:00 UTC" in sent()[1]
        with pytest.raises(CommandError, match=rf"\[0\] were not interrupted; these were: \[{notice.pk}\]"):
            sent(arrived=[0])
        assert sent(again=[notice.pk])[0] == "1 sent, 0 refused, 0 in doubt"
    first, second = (mail["Message-ID"] for _, mail in server.mails)
    assert first == second


def test_one_that_arrived_is_not_sent_again(cast, server):
    held(cast)
    server.lets_go = True
    sent()
    server.lets_go = False
    with time_machine.travel(later(hours=1), tick=False):
        assert sent(arrived=[Notice.objects.get().pk]) == ("0 sent, 0 refused, 0 in doubt", "")
    assert len(server.mails) == 1


def test_nothing_of_a_password_is_said(cast, server, settings):
    settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "records", "marked-secret"
    held(cast)
    with pytest.raises(CommandError) as refused:  # the server knows no way to log in
        sent()
    assert "marked-secret" not in str(refused.value) + Notice.objects.get().last_error
    assert NoticeKind(Notice.objects.get().kind) is NoticeKind.HOLD
