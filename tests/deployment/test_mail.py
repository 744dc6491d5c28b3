"""Notices by a mail server that encrypts: `send_notices` as it runs at night, against a server on loopback."""

import ssl

import pytest

from tests.deployment.checks import make_world
from tests.deployment.processes import make_certificate, python, settings_of
from tests.smtp_server import mail_server

HELD = """
import django; django.setup()
from django.utils import timezone
from inspections.services import maintenance
from reels.models import Person
from reels.services.history import Actor
from tests.reports.noticed import asks
control = Person.objects.get(username="mona")
asks(control)
maintenance.place_hold(serial="LD-00000", reason="rust", actor=Actor(control), at=timezone.now())
"""


@pytest.fixture
def certificate(tmp_path):
    return make_certificate(tmp_path, "localhost")


@pytest.fixture(params=["starttls", "tls"])
def server(request, certificate):
    with mail_server() as running:
        running.tls = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        running.tls.load_cert_chain(certificate, certificate.with_suffix(".key"))
        running.at_once = request.param == "tls"
        yield running


@pytest.fixture
def env(server, tmp_path):
    (tmp_path / "mail_password").write_text("an-invented-mail-password")
    made = {
        **settings_of(tmp_path, f"sqlite:///{tmp_path}/records.sqlite3"), "DJANGO_SETTINGS_MODULE": "deploy.settings",
        "MAIL_HOST": "localhost", "MAIL_PORT": str(server.port), "MAIL_FROM": "records@wrapledger.example",
        "MAIL_SECURITY": "tls" if server.at_once else "starttls",
        "MAIL_USER": "records", "MAIL_PASSWORD_FILE": str(tmp_path / "mail_password"),
    }  # fmt: skip
    make_world(made, 1)
    python(made, "-c", HELD)
    return made


def test_a_notice_goes_out_encrypted_with_a_login_to_a_server_that_is_trusted_and_to_no_other(env, server, certificate):
    with pytest.raises(AssertionError, match="the mail server did not let us in: SSLCertVerificationError"):
        python(env, "manage.py", "send_notices")
    assert server.mails == []

    sent = python({**env, "SSL_CERT_FILE": str(certificate)}, "manage.py", "send_notices")
    assert "1 sent, 0 refused" in sent
    assert [recipient for recipient, _ in server.mails] == ["mona@mail.example"]
    login = next(command for command in server.said if command.startswith("AUTH PLAIN"))
    first_mail = next(command for command in server.said if command.upper().startswith("MAIL"))
    assert server.said.index(login) < server.said.index(first_mail)
