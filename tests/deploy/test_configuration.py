"""What environment variables turn into, and what a connection really runs with."""

import os
import re
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from deploy import configuration

HOME = Path(__file__).resolve().parents[2]
SET_BY_OTHERS = {"DJANGO_SETTINGS_MODULE", "PROMETHEUS_MULTIPROC_DIR", "RUNTIME_DIRECTORY"}


def test_the_demos_database_is_its_own_file(tmp_path):
    found = configuration.database({}, tmp_path)
    assert (found["ENGINE"], found["NAME"]) == ("django.db.backends.sqlite3", str(tmp_path / "wrapledger.sqlite3"))


def test_a_url_can_name_a_socket_and_add_options(tmp_path):
    url = "postgres://ann:secret@%2Frun%2Fpostgresql/records?sslmode=require"
    found = configuration.database({"DATABASE_URL": url}, tmp_path)
    assert (found["HOST"], found["USER"], found["NAME"]) == ("/run/postgresql", "ann", "records")
    assert found["OPTIONS"] == {**configuration.POSTGRESQL_OPTIONS, "sslmode": "require"}


def test_without_an_address_there_is_no_standby(tmp_path):
    assert list(configuration.databases({"STANDBY_DATABASE_URL": ""}, tmp_path)) == ["default"]


def test_a_standby_is_not_waited_for_nor_written_to(tmp_path):
    env = {
        "DATABASE_URL": "postgres://primary/records",
        "STANDBY_DATABASE_URL": "postgres://second/records?sslmode=require",
    }
    found = configuration.databases(env, tmp_path)
    assert [each["HOST"] for each in found.values()] == ["primary", "second"]
    assert found["default"]["OPTIONS"] == configuration.POSTGRESQL_OPTIONS
    options = found["standby"]["OPTIONS"]
    assert options == {**configuration.STANDBY_OPTIONS, "sslmode": "require"}
    assert (options["connect_timeout"], "default_transaction_read_only=on" in options["options"]) == (2, True)
    assert found["standby"]["TEST"] == {"MIRROR": "default"}


def test_lists_drop_blanks():
    assert configuration.words(" a.example, ,b.example,") == ["a.example", "b.example"]


@pytest.mark.parametrize(("text", "expected"), [("1", True), (" Yes ", True), ("", False), ("0", False), ("no", False)])
def test_a_switch_is_on_only_when_it_says_so(text, expected):
    assert configuration.is_on(text) is expected


def test_a_key_comes_from_the_variable_then_from_the_file(tmp_path):
    file = tmp_path / "key"
    file.write_text("from-file\n")
    both = {"SECRET_KEY": "from-variable", "SECRET_KEY_FILE": str(file)}
    assert configuration.secret_key(both, None) == "from-variable"
    assert configuration.secret_key({"SECRET_KEY_FILE": str(file)}, None) == "from-file"


def test_older_keys_are_lines_of_a_file_and_none_where_none_is_named(tmp_path):
    (tmp_path / "keys").write_text("newest\nolder\n", encoding="utf-8")
    assert configuration.keys_in_file(str(tmp_path / "keys"), "KEYS") == ["newest", "older"]
    assert configuration.keys_in_file(None, "KEYS") == []


def test_the_password_at_the_mail_server_comes_from_the_variable_then_from_the_file(tmp_path):
    file = tmp_path / "password"
    file.write_text("from-file\n")
    both = {"MAIL_PASSWORD": "from-variable", "MAIL_PASSWORD_FILE": str(file)}
    assert configuration.mail_password(both) == "from-variable"
    assert configuration.mail_password({"MAIL_PASSWORD_FILE": str(file)}) == "from-file"
    assert configuration.mail_password({}) == ""


MAIL_SEEN = (
    "from django.conf import settings as s; "
    "print(s.EMAIL_BACKEND.split('.')[-2], s.EMAIL_PORT, s.EMAIL_USE_TLS, s.EMAIL_USE_SSL, s.PUBLIC_URL)"
)


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({}, "console 587 True False"),
        ({"MAIL_HOST": "mail.example"}, "smtp 587 True False"),
        ({"WRAPLEDGER_ENV": "production"}, "smtp 587 True False"),
        ({"MAIL_HOST": "m", "MAIL_SECURITY": "tls"}, "smtp 465 False True"),
        ({"MAIL_HOST": "m", "MAIL_SECURITY": "none", "MAIL_PORT": "2525"}, "smtp 2525 False False"),
        ({"PUBLIC_URL": "https://a.example/"}, "console 587 True False https://a.example"),
    ],
)
def test_mail_is_as_the_variables_say(environment, expected):
    clean = {name: value for name, value in os.environ.items() if not name.startswith("MAIL_")}
    given = {**clean, "DJANGO_SETTINGS_MODULE": "deploy.settings", "SECRET_KEY": "x", **environment}
    command = [sys.executable, "-c", MAIL_SEEN]
    said = subprocess.run(command, cwd=HOME, env=given, capture_output=True, text=True, check=False)
    assert said.stdout.strip() == expected, said.stderr


def test_no_key_is_made_up_outside_the_demo():
    assert configuration.secret_key({}, None) == ""


def test_the_demo_makes_its_key_once_and_for_its_owner_only(tmp_path):
    demo = tmp_path / "demo"
    first = configuration.secret_key({}, demo)
    assert configuration.secret_key({}, demo) == first
    assert len(first) >= 64
    assert [path.name for path in demo.iterdir()] == ["secret_key"]
    assert stat.S_IMODE((demo / "secret_key").stat().st_mode) == 0o600


def asked(*questions: str) -> list[Any]:
    answers = []
    with connection.cursor() as cursor:
        for question in questions:
            cursor.execute(question)
            answers.append(cursor.fetchone()[0])
    return answers


@pytest.mark.django_db
def test_the_connection_keeps_what_it_commits_and_gives_up_in_time():
    if connection.vendor == "postgresql":
        assert asked("SHOW lock_timeout", "SHOW statement_timeout") == ["3s", "30s"]
    else:
        names = ("journal_mode", "synchronous", "foreign_keys", "recursive_triggers", "busy_timeout")
        assert asked(*(f"PRAGMA {name}" for name in names)) == ["wal", 2, 1, 1, 20000]


@pytest.mark.django_db(transaction=True)
def test_a_transaction_takes_sqlites_write_lock_at_once(settings):
    assert connection.vendor == "postgresql" or connection.transaction_mode == "IMMEDIATE"  # type: ignore[attr-defined]  # SQLite's own
    assert settings.DATABASES["default"]["ATOMIC_REQUESTS"] is False


def test_pages_may_load_nothing_from_elsewhere_and_nothing_inline():
    policy = Client().get("/nothing").headers["Content-Security-Policy"]
    parts = {name: sources for name, _, sources in (part.strip().partition(" ") for part in policy.split(";"))}
    own = ("script-src", "style-src", "img-src", "font-src", "connect-src", "form-action")
    assert parts == {
        **dict.fromkeys(own, "'self'"),
        **dict.fromkeys(("default-src", "object-src", "base-uri", "frame-ancestors"), "'none'"),
    }


def test_the_handbook_tells_every_variable_that_is_read_and_no_other():
    sources = [path.read_text() for path in (HOME / "deploy").rglob("*.py") if "handbook" not in path.parts]
    by = r"(?:env(?:iron)?(?:\.get\(|\[)|configuration\.(?:whole|seconds|rate|one_of|time_zone|networks)\()"
    read = {name for text in sources for name in re.findall(by + r"\s*\"([A-Z_]+)\"", text)}
    page = (HOME / "deploy" / "handbook" / "operations.md").read_text()
    rows = re.findall(r"^\| ((?:`[A-Z_]+`(?:, )?)+) \|", page, re.M)
    told = [name for row in rows for name in re.findall(r"[A-Z_]+", row)]
    assert (sorted(told), len(told)) == (sorted(read - SET_BY_OTHERS), len(set(told)))


def test_a_process_loads_what_inference_and_documents_need_only_when_they_are_asked_for():
    code = "import sys, deploy.wsgi, deploy.urls; print(*sys.modules)"
    process = subprocess.run([sys.executable, "-c", code], cwd=HOME, capture_output=True, text=True, check=True)
    loaded = set(process.stdout.split())
    assert "reports.pages.drift" in loaded
    assert not loaded & {"scipy.special", "scipy.stats", "pyhanko", "reportlab", "pikepdf"}
