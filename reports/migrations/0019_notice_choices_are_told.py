import secrets
from typing import Any

from django.db import migrations, models

from reels.domain import ledger
from reels.migrations._told import tell


def tell_of_choices(apps: Any, _schema: Any) -> None:
    """What notices people have chosen, by its digest, as it stands now."""
    choices = apps.get_model("reports", "NoticeChoice").objects
    rows = []
    for row in apps.get_model("reports", "NoticeAddress").objects.order_by("pk"):
        row.salt = secrets.token_hex(16)
        chosen = choices.filter(person=row.person_id).values_list("kind", "site")
        said = {"address": row.address, "salt": row.salt, "chosen": sorted([kind, site or 0] for kind, site in chosen)}
        row.digest = ledger.digest(ledger.canonical(said))
        row.save(update_fields=["salt", "digest"])
        columns = {"person_id": row.person_id, "changed_at": row.changed_at, "digest": row.digest}
        rows.append((row._meta.db_table, row.pk, columns))
    tell(apps, "register", "notice_choices_told", rows)


def forget_what_was_worked_out(apps: Any, _schema: Any) -> None:
    """The rates that it was worked out by are in no history; they are learned again, and told."""
    for app, name in (("reports", "AssessedInterval"), ("reports", "Assessment"), ("reports", "FleetAssessment"),
                      ("inspections", "LearnedRates")):  # fmt: skip
        apps.get_model(app, name).objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [
        ("inspections", "0034_practice_results_and_learned_rates"),
        ("reports", "0018_monthly_reports_of_large_fleets"),
    ]

    operations = [
        migrations.AddField(
            model_name="noticeaddress",
            name="digest",
            field=models.CharField(default="", db_default="", editable=False, max_length=64),
        ),
        migrations.AddField(
            model_name="noticeaddress",
            name="salt",
            field=models.CharField(default="", db_default="", editable=False, max_length=32),
        ),
        migrations.RunPython(tell_of_choices, migrations.RunPython.noop),
        migrations.RunPython(forget_what_was_worked_out, migrations.RunPython.noop),
    ]
