from typing import Any

from django.db import migrations, models
from django.db.models import F

from reels.migrations._told import tell


def all_were_replayed(apps: Any, _schema: Any) -> None:
    apps.get_model("reports", "VerificationRun").objects.update(replayed=F("chains"))


def tell_of_runs(apps: Any, _schema: Any) -> None:
    """How each check of records came out, as it stands now."""
    names = ("at", "chains", "replayed", "nights", "entries", "signatures", "first_break")
    runs = apps.get_model("reports", "VerificationRun")
    rows = [
        (runs._meta.db_table, row.pk, {name: getattr(row, name) for name in names})
        for row in runs.objects.order_by("pk")
    ]
    tell(apps, "checks", "checks_told", rows)


class Migration(migrations.Migration):
    dependencies = [("reports", "0019_notice_choices_are_told")]

    operations = [
        migrations.CreateModel(
            name="ChainSeen",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("day", models.PositiveIntegerField(help_text="On which it was replayed, as an ordinal.")),
                ("ids", models.BinaryField(help_text="Of its entries and rows, by table: JSON, compressed.")),
                ("mac", models.CharField(max_length=64)),
                (
                    "chain",
                    models.OneToOneField(on_delete=models.deletion.PROTECT, related_name="+", to="reels.chain"),
                ),
            ],
        ),
        migrations.AddField(
            model_name="verificationrun",
            name="replayed",
            field=models.PositiveIntegerField(db_default=0, default=0),
        ),
        migrations.AddField(
            model_name="verificationrun",
            name="nights",
            field=models.PositiveSmallIntegerField(
                db_default=1, default=1, help_text="Within which all are replayed."
            ),
        ),
        migrations.AlterField(
            model_name="verificationrun",
            name="chains",
            field=models.PositiveIntegerField(help_text="Replayed, or known again as they were."),
        ),
        migrations.RunPython(all_were_replayed, migrations.RunPython.noop),
        migrations.RunPython(tell_of_runs, migrations.RunPython.noop),
    ]
