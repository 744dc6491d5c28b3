import stat
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test.utils import override_settings

from reports.pdf.seal_keys import fingerprint
from reports.services.seal import known_certificates, seal_key


@pytest.fixture
def files(tmp_path):
    with override_settings(SEAL_KEY_FILE=str(tmp_path / "key.pem"), SEAL_CERT_FILE=str(tmp_path / "known.pem")):
        yield tmp_path / "key.pem", tmp_path / "known.pem"


def test_a_key_is_made_that_only_its_owner_may_read(files, capsys):
    call_command("make_seal_key", "--name", "Larkspur records")
    assert stat.S_IMODE(Path(files[0]).stat().st_mode) == 0o600
    made = seal_key()
    assert made.certificate.subject.rfc4514_string() == "CN=Larkspur records"
    assert fingerprint(made.certificate) in capsys.readouterr().out


def test_a_key_that_is_there_is_not_overwritten(files):
    call_command("make_seal_key")
    before = files[0].read_bytes()
    with pytest.raises(CommandError, match="there already"):
        call_command("make_seal_key")
    assert files[0].read_bytes() == before


def test_the_next_key_keeps_the_earlier_certificate(files):
    call_command("make_seal_key")
    first = fingerprint(seal_key().certificate)
    files[0].rename(files[0].with_name("old.pem"))
    call_command("make_seal_key")
    assert [fingerprint(each) for each in known_certificates()] == [fingerprint(seal_key().certificate), first]


def test_without_settings_it_says_which_are_missing():
    with override_settings(SEAL_KEY_FILE="", SEAL_CERT_FILE=""), pytest.raises(CommandError, match="SEAL_KEY_FILE"):
        call_command("make_seal_key")


def test_the_demo_makes_its_own(tmp_path):
    folder = tmp_path / "demo"
    names = {"SEAL_KEY_FILE": str(folder / "key.pem"), "SEAL_CERT_FILE": str(folder / "known.pem")}
    with override_settings(WRAPLEDGER_ENV="demo", **names):
        first = fingerprint(seal_key().certificate)
        assert fingerprint(seal_key().certificate) == first
