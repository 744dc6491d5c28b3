"""Practice has a step before the first reading: what was under way goes on at the same reading."""

from typing import Any

from django.db import migrations
from django.db.models import F


def move_on(apps: Any, schema_editor: Any) -> None:
    """Steps are counted from the stand now."""
    apps.get_model("inspections", "Exercise").objects.filter(ended_at__isnull=True).update(step=F("step") + 1)


class Migration(migrations.Migration):
    dependencies = [("inspections", "0021_numbers_of_reels")]
    operations = [migrations.RunPython(move_on, migrations.RunPython.noop)]
