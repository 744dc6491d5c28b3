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


@pytest.mark.parametrize(("name", "value", "said"), [
    ("LOCK_MINUTES", "a quarter", "LOCK_MINUTES is 'a quarter'; it must be a whole number, 1 or more."),
    ("LOCK_AFTER_TRIES", "0", "LOCK_AFTER_TRIES is '0'; it must be a whole number, 1 or more."),
    ("PROXIES", "-1", "PROXIES is '-1'; it must be a whole number, 0 or more."),
    ("MAIL_PORT", "smtp", "MAIL_PORT is 'smtp'; it must be a whole number, 1 or more."),
    ("LOGIN_RATE", "thirty", "LOGIN_RATE is 'thirty'; it must be a number a period, such as 30/min,"),
    ("REQUEST_RATE", "0/min", "REQUEST_RATE is '0/min'; it must be a number a period,"),
    ("REQUEST_SECONDS", "200", "REQUEST_SECONDS is '200'; it must be seconds, more than 0 and at most 110."),
    ("TIME_ZONE", "Larkspur", "TIME_ZONE is 'Larkspur'; it must be a zone such as UTC or Europe/London."),
    ("TIME_ZONE", "../../etc/passwd", "TIME_ZONE is '../../etc/passwd'; it must be a zone"),
    ("LOG_FORMAT", "xml", "LOG_FORMAT is 'xml'; it must be one of json, text."),
    ("METRICS_FROM", "10.0.0.0/8,here", "METRICS_FROM is 'here'; it must be networks such as 10.0.0.0/8."),
    ("SECRET_KEY_FILE", "/nowhere/key", "SECRET_KEY_FILE is '/nowhere/key'; it must be a file that the service can"),
    ("DEVICE_KEYS_FILE", "/", "DEVICE_KEYS_FILE is '/'; it must be a file that the service can read (Is a directory)."),
    ("DATABASE_URL", "records:secret-word", "DATABASE_URL names no database; it must be like postgres://"),
])  # fmt: skip
@pytest.mark.parametrize("environment", ["demo", "production"])
def test_what_can_t_be_meant_is_told_in_words_and_nothing_starts(name, value, said, environment):
    ended = started("manage.py", "check", WRAPLEDGER_ENV=environment, **{name: value})
    assert ended.returncode == 1
    assert said in ended.stderr
    assert "Traceback" not in ended.stderr
    assert "secret-word" not in ended.stderr


def test_a_key_that_is_too_short_is_named_by_its_line_and_not_shown(production):
    good, weak = str(SAFE["SECRET_KEY"]), "x" * 60
    production.DEVICE_KEYS, production.SECRET_KEY_FALLBACKS = [good, weak], [weak]
    messages = checks.production_is_safe(None)
    assert [message.msg.partition(" is too")[0] for message in messages] == [
        "The key in line 1 of SECRET_KEY_FALLBACKS_FILE", "The key in line 2 of DEVICE_KEYS_FILE",
    ]  # fmt: skip
    assert weak not in repr(messages)


def test_a_production_without_its_keys_passes_no_check_for_deployment(tmp_path):
    key = tmp_path / "key"
    key.write_text(str(SAFE["SECRET_KEY"]))
    settings = {
        "WRAPLEDGER_ENV": "production", "SECRET_KEY_FILE": str(key), "ALLOWED_HOSTS": "records.example",
        "DATABASE_URL": f"sqlite:///{tmp_path / 'records.sqlite3'}", "SEAL_KEY_FILE": str(tmp_path / "none.pem"),
    }  # fmt: skip
    assert started("manage.py", "check", **settings).returncode == 0, "the commands that make keys run before"
    said = started("manage.py", "check", "--deploy", **settings).stderr
    for missing in ("DEVICE_KEYS_FILE is not set.", "CHECKPOINT_KEY_FILE is not set.", "SEAL_CERT_FILE is not set."):
        assert missing in said
    assert f"SEAL_KEY_FILE is '{tmp_path / 'none.pem'}', which the service can't read." in said


def test_a_file_of_keys_that_everybody_can_read_is_refused(production, monkeypatch, tmp_path):
    for name in checks.KEY_FILES:
        path = tmp_path / name
        path.write_text("a key")
        path.chmod(0o644 if name in ("DEVICE_KEYS_FILE", "SEAL_CERT_FILE") else 0o640)
        monkeypatch.setenv(name, str(path))
    assert [message.id for message in checks.production_has_its_keys(None)] == ["wrapledger.E017"]
    (tmp_path / "DEVICE_KEYS_FILE").chmod(0o640)
    assert checks.production_has_its_keys(None) == []


def test_safe_production_passes_djangos_own_deployment_checks(tmp_path):
    key = tmp_path / "key"
    key.write_text(str(SAFE["SECRET_KEY"]))
    settings = {
        "WRAPLEDGER_ENV": "production", "SECRET_KEY_FILE": str(key), "ALLOWED_HOSTS": "records.example",
        "DATABASE_URL": f"sqlite:///{tmp_path / 'records.sqlite3'}",
        "SEAL_KEY_FILE": str(tmp_path / "seal.pem"), "SEAL_CERT_FILE": str(tmp_path / "seal_certificates.pem"),
        "CHECKPOINT_KEY_FILE": str(tmp_path / "checkpoint.pem"), "DEVICE_KEYS_FILE": str(key),
    }  # fmt: skip
    key.chmod(0o600)
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
