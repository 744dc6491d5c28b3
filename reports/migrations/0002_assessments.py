import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inspections", "0003_learned_rates_and_drift_flags"),
        ("reels", "0002_tokens_submissions_and_feed"),
        ("reports", "0001_archived_pdfs"),
    ]

    operations = [
        migrations.CreateModel(
            name="Assessment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("head", models.CharField(max_length=64)),
                ("made_at", models.DateTimeField()),
                (
                    "rates",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="inspections.learnedrates"
                    ),
                ),
                (
                    "reel",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="assessment", to="reels.reel"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="AssessedInterval",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("from_at", models.DateTimeField()),
                ("to_at", models.DateTimeField()),
                ("observed_change_m", models.FloatField()),
                ("logged_cut_m", models.FloatField()),
                ("p_unlogged_cut", models.FloatField()),
                ("p_when_counted", models.FloatField()),
                ("cut_m", models.FloatField()),
                ("cut_low_m", models.FloatField()),
                ("cut_high_m", models.FloatField()),
                ("explanation", models.TextField()),
                (
                    "assessment",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="intervals", to="reports.assessment"
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["-p_unlogged_cut"], name="interval_by_probability")],
            },
        ),
    ]
