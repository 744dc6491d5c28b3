import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inspections", "0003_learned_rates_and_drift_flags"),
    ]

    operations = [
        migrations.CreateModel(
            name="SurpriseAccepted",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("told", models.TextField(help_text="What was said of the count.")),
                ("reason", models.TextField()),
                ("accepted_at", models.DateTimeField()),
                (
                    "accepted_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "reading",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="surprise_accepted",
                        to="inspections.reading",
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "surprises accepted",
            },
        ),
    ]
