"""Production does not start on unsafe settings, and says which and what to do."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings as current

from deploy import checks

SAFE = {
    "WRAPLEDGER_ENV": "production",
    "SECRET_KEY": "an-invented-key-of-more-than-fifty-different-characters-0123456789",
    "ALLOWED_HOSTS": ["records.example"],
    "CSRF_TRUSTED_ORIGINS": ["https://records.example"],
    "DEBUG": False,
    "DEFAULT_FROM_EMAIL": "",
}


@pytest.fixture
def production(settings, monkeypatch):
    for name, value in SAFE.items():
        setattr(settings, name, value)
    monkeypatch.setitem(current.DATABASES["default"], "NAME", "wrapledger")
    return settings


def found() -> list[str | None]:
    return [message.id for message in checks.production_is_safe(None)]


def test_safe_settings_pass(production):
    assert found() == []


@pytest.mark.parametrize(
    ("name", "value", "expected"),
    [
        ("WRAPLEDGER_ENV", "produktion", "wrapledger.E001"),
        ("SECRET_KEY", "missing", "wrapledger.E002"),
        ("SECRET_KEY", "x" * 60, "wrapledger.E002"),
        ("ALLOWED_HOSTS", [], "wrapledger.E003"),
        ("ALLOWED_HOSTS", ["records.example", "*"], "wrapledger.E003"),
        ("CSRF_TRUSTED_ORIGINS", ["http://records.example"], "wrapledger.E004"),
        ("DEBUG", True, "wrapledger.E005"),
        ("SECOND_FACTOR", "sometimes", "wrapledger.E007"),
        ("LOCK_AFTER_TRIES", 0, "wrapledger.E008"),
        ("SESSION_IDLE_MINUTES", -1, "wrapledger.E008"),
        ("STANDBY_LIMIT_SECONDS", -1, "wrapledger.E010"),
        ("MAIL_SECURITY", "ssl", "wrapledger.E011"),
        ("EMAIL_HOST", "mail.example", "wrapledger.E012"),  # and no MAIL_FROM
        ("PUBLIC_URL", "http://records.example", "wrapledger.E014"),
        ("PUBLIC_URL", "https://records.example/notices", "wrapledger.E014"),
        ("PUBLIC_URL", "https://somebody@records.example", "wrapledger.E014"),
        ("PUBLIC_URL", "records.example", "wrapledger.E014"),
    ],
)
def test_one_unsafe_setting_is_named(production, name, value, expected):
    setattr(production, name, value)
    assert found() == [expected]


@pytest.mark.parametrize(
    ("primary", "second", "expected"),
    [
        ("postgresql", "postgresql", []),
        ("sqlite3", "sqlite3", ["wrapledger.E009"]),
        ("sqlite3", "postgresql", ["wrapledger.E009"]),
        ("postgresql", "sqlite3", ["wrapledger.E009"]),
    ],
)
def test_only_postgresql_has_a_standby(production, monkeypatch, primary, second, expected):
    monkeypatch.setitem(current.DATABASES["default"], "ENGINE", f"django.db.backends.{primary}")
    monkeypatch.setitem(current.DATABASES, "standby", {"ENGINE": f"django.db.backends.{second}"})
    assert found() == expected


def test_a_password_does_not_go_to_a_mail_server_as_it_is(production):
    production.EMAIL_HOST, production.EMAIL_HOST_USER = "mail.example", "records"
    production.DEFAULT_FROM_EMAIL, production.MAIL_SECURITY = "records@mail.example", "none"
    assert found() == ["wrapledger.E013"]
    production.MAIL_SECURITY = "tls"
    assert found() == []


def test_an_address_of_the_service_may_have_a_port(production):
    production.PUBLIC_URL = "https://records.example:8443"
    assert found() == []


def test_the_demos_database_is_refused(production, monkeypatch):
    monkeypatch.setitem(current.DATABASES["default"], "NAME", current.DEMO_FOLDER / "wrapledger.sqlite3")
    assert found() == ["wrapledger.E006"]


def test_every_refusal_says_what_to_do(production, monkeypatch):
    production.WRAPLEDGER_ENV, production.SECRET_KEY, production.DEBUG = "other", "short", True
    production.ALLOWED_HOSTS, production.CSRF_TRUSTED_ORIGINS = ["*"], ["http://a.example"]
    monkeypatch.setitem(current.DATABASES["default"], "NAME", current.DEMO_FOLDER / "wrapledger.sqlite3")
    messages = checks.production_is_safe(None)
    assert [message.id for message in messages] == [f"wrapledger.E00{n}" for n in range(1, 7)]
    assert all(message.hint for message in messages)


def test_the_demo_is_not_held_to_it(settings):
    settings.SECRET_KEY, settings.WRAPLEDGER_ENV = "missing", "demo"
    assert found() == []


def started(*command: str, **env: str) -> "subprocess.CompletedProcess[str]":
    """A process that sees this environment only, besides PATH and HOME."""
    kept = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    return subprocess.run(
        [sys.executable, *command], cwd=Path(current.HOME), env=kept | env, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize("entry", [("-c", "import deploy.wsgi"), ("manage.py", "check")])
def test_bare_production_refuses_to_start(entry):
    ended = started(*entry, WRAPLEDGER_ENV="production")
    assert ended.returncode == 1
    assert [f"wrapledger.E00{n}" in ended.stderr for n in (2, 3, 6)] == [True, True, True]


def test_safe_production_passes_djangos_own_deployment_checks(tmp_path):
    key = tmp_path / "key"
    key.write_text(str(SAFE["SECRET_KEY"]))
    settings = {
        "WRAPLEDGER_ENV": "production", "SECRET_KEY_FILE": str(key), "ALLOWED_HOSTS": "records.example",
        "DATABASE_URL": f"sqlite:///{tmp_path / 'records.sqlite3'}",
        "SEAL_KEY_FILE": str(tmp_path / "seal.pem"), "SEAL_CERT_FILE": str(tmp_path / "seal_certificates.pem"),
        "CHECKPOINT_KEY_FILE": str(tmp_path / "checkpoint.pem"),
    }  # fmt: skip
    for command in ("make_seal_key", "make_checkpoint_key"):
        assert started("manage.py", command, **settings).returncode == 0
    ended = started(*("manage.py", "check", "--deploy", "--fail-level", "WARNING"), **settings)
    assert (ended.returncode, ended.stdout) == (0, "System check identified no issues (2 silenced).\n")


def test_in_production_cookies_are_for_this_host_alone_over_tls_and_out_of_reach_for_scripts():
    names = ("SESSION_COOKIE_NAME", "CSRF_COOKIE_NAME", "SESSION_COOKIE_SECURE", "CSRF_COOKIE_SECURE",
             "SESSION_COOKIE_HTTPONLY", "CSRF_COOKIE_HTTPONLY", "SESSION_COOKIE_SAMESITE", "CSRF_COOKIE_SAMESITE",
             "SESSION_COOKIE_DOMAIN", "SESSION_COOKIE_PATH")  # fmt: skip
    script = f"from django.conf import settings as s; print([getattr(s, name) for name in {names}])"
    said = started("-c", script, WRAPLEDGER_ENV="production", DJANGO_SETTINGS_MODULE="deploy.settings")
    assert said.stdout.strip() == str(
        ["__Host-session", "__Host-csrf", True, True, True, True, "Lax", "Lax", None, "/"]
    )
