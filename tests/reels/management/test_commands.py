"""Every management command there is, and what becomes of people, passwords and records by it."""

import pytest
from django.core.management import call_command, get_commands
from django.core.management.base import CommandError
from django.db import IntegrityError, transaction

from reels.models import HistoryEntry, Person
from tests.builders import administrator

# Of the framework and of libraries.
READ = {"check", "diffsettings", "dumpdata", "findstatic", "inspectdb", "runserver", "showmigrations",
        "sqlflush", "sqlmigrate", "sqlsequencereset"}  # fmt: skip
WRITE_FILES = {"collectstatic", "compilemessages", "generateschema", "makemessages", "makemigrations",
               "optimizemigration", "sendtestemail", "spectacular", "squashmigrations", "startapp",
               "startproject"}  # fmt: skip
WRITE_WHAT_IS_NO_RECORD = {
    "clearsessions": "sessions that are over", "createcachetable": "a table that nothing here uses",
    "prune_db_task_results": "tasks that are done", "remove_stale_contenttypes": "content types of models of before",
    "test": "a database of its own", "testserver": "a database of its own",
}  # fmt: skip
MIGRATE = {"migrate"}  # the tables themselves; what it does to rows is in the migrations
WHATEVER_ITS_OWNER_TYPES = {"dbshell", "shell"}  # whoever may run these owns the database: see records.md
STOPPED_BY_THE_GUARDS = {"flush"}
REFUSED = {"changepassword", "db_worker", "loaddata"}
# Ours: what they write they write by services, or it is no record.
OURS = {"archive_inspections", "check_pdf", "createsuperuser", "drift_report", "encrypt_devices", "enrol", "first_run",
        "export_documents", "export_evidence", "fit_layer_rise", "import_records", "load_demo", "make_checkpoint",
        "make_checkpoint_key", "make_seal_key", "nightly", "rebuild_status", "run_worker",
        "send_notices", "verify_records"}  # fmt: skip


def test_every_command_has_its_answer():
    answered = [READ, WRITE_FILES, set(WRITE_WHAT_IS_NO_RECORD), MIGRATE, WHATEVER_ITS_OWNER_TYPES,
                STOPPED_BY_THE_GUARDS, REFUSED, OURS]  # fmt: skip
    assert sorted(name for names in answered for name in names) == sorted(get_commands())


def test_what_is_ours_is_of_our_apps_and_nothing_else_is():
    ours = {name for name, app in get_commands().items() if app in ("reels", "inspections", "reports")}
    assert ours == OURS | REFUSED


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_a_command_that_would_write_past_the_services_is_refused_and_names_what_to_do(name, capsys):
    with pytest.raises(CommandError, match="goes past the services of Wrapledger"):
        call_command(name, "ada")
    module = __import__(f"reels.management.commands.{name}", fromlist=["Command"])
    with pytest.raises(SystemExit):
        module.Command().run_from_argv(["manage.py", name, "--database", "default", "ada"])
    assert "goes past the services" in capsys.readouterr().err


def test_no_password_is_changed_without_an_entry(db):
    ada = administrator()
    before = HistoryEntry.objects.count()
    with pytest.raises(CommandError, match="createsuperuser"):
        call_command("changepassword", "ada")
    assert (Person.objects.get(pk=ada.pk).password, HistoryEntry.objects.count()) == (ada.password, before)


def test_what_flush_does_to_kept_rows_the_guards_refuse(db):
    ada = administrator()
    with pytest.raises(IntegrityError), transaction.atomic():
        Person.objects.filter(pk=ada.pk)._raw_delete("default")
