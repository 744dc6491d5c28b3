import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inspections", "0002_first"),
        ("reels", "0002_tokens_submissions_and_feed"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="LearnedRates",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("values", models.JSONField()),
                ("learned_at", models.DateTimeField()),
                (
                    "rows_known",
                    models.PositiveIntegerField(help_text="How many counts, cable events and closed flags there were."),
                ),
            ],
            options={
                "verbose_name_plural": "learned rates",
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="DriftFlag",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("from_at", models.DateTimeField()),
                ("to_at", models.DateTimeField()),
                (
                    "p_unlogged_cut",
                    models.DecimalField(decimal_places=4, help_text="When it was assigned first.", max_digits=5),
                ),
                ("explanation", models.TextField()),
                ("raised_at", models.DateTimeField()),
                ("finding", models.TextField(blank=True)),
                ("looked_into_at", models.DateTimeField(null=True)),
                (
                    "ending",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("late_logged_cut", "late logged cut"),
                            ("miscount", "miscount"),
                            ("confirmed_loss", "confirmed loss"),
                            ("unexplained", "unexplained"),
                        ],
                        max_length=15,
                    ),
                ),
                ("end_reason", models.TextField(blank=True)),
                ("closed_at", models.DateTimeField(null=True)),
                (
                    "assigned_to",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="drift_flags",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "closed_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "looked_into_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "raised_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "reel",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="drift_flags", to="reels.reel"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("closed_at__isnull", True)),
                        fields=("reel", "from_at", "to_at"),
                        name="drift_flag_one_open",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("closed_at__isnull", True), ("ending", "")),
                            models.Q(("closed_at__isnull", False), models.Q(("ending", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="drift_flag_closed_has_ending",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("from_at__lte", models.F("to_at"))), name="drift_flag_in_order"
                    ),
                ],
            },
        ),
    ]
