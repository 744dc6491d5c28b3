from typing import Any

import django.db.models.deletion
from django.db import migrations, models

from reels.domain import ledger
from reels.migrations._told import tell


def tell_of_practice(apps: Any, _schema: Any) -> None:
    """How exercises of before ended, as it stands now: what was changed before this, nobody can say."""
    result = apps.get_model("inspections", "ExerciseResult")
    rows = []
    for exercise in apps.get_model("inspections", "Exercise").objects.filter(ended_at__isnull=False).order_by("pk"):
        digest = digest_of(exercise)
        row = result.objects.create(exercise=exercise, digest=digest)
        rows.append((result._meta.db_table, row.pk, {"exercise_id": exercise.pk, "digest": digest}))
    tell(apps, "practice", "practice_told", rows)


def digest_of(exercise: Any) -> str:
    said = {
        "exercise": exercise.pk, "person": exercise.person_id, "reel_type": exercise.reel_type_id,
        "parameters": exercise.parameters, "reference_side": exercise.reference_side,
        "difficulty": exercise.difficulty, "seed": str(exercise.seed), "counts": exercise.counts,
        "begun_at": ledger.plain(exercise.begun_at), "step": exercise.step, "entered": exercise.entered,
        "ended_at": ledger.plain(exercise.ended_at), "tried": exercise.tried, "misses": exercise.misses,
    }  # fmt: skip
    return ledger.digest(ledger.canonical(said))


class Migration(migrations.Migration):
    dependencies = [
        ("inspections", "0033_safety_notices"),
        ("reels", "0024_safety_notices"),
    ]

    operations = [
        migrations.AddField(
            model_name="learnedrates",
            name="digest",
            field=models.CharField(
                default="", db_default="", help_text="SHA-256 of the values as canonical JSON.", max_length=64
            ),
        ),
        migrations.CreateModel(
            name="ExerciseResult",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("digest", models.CharField(help_text="See queries/practice.py, digest_of.", max_length=64)),
                (
                    "exercise",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="result", to="inspections.exercise"
                    ),
                ),
            ],
            options={"abstract": False},
        ),
        migrations.RunPython(tell_of_practice, migrations.RunPython.noop),
    ]
