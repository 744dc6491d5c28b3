from typing import Any

from django.db import migrations


def forget(apps: Any, _schema: Any) -> None:
    """What was worked out is no record; it is worked out again, in the new words, when it is asked for."""
    for name in ("AssessedInterval", "Assessment", "FleetAssessment", "AsOfReport"):
        apps.get_model("reports", name).objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("reports", "0021_marks_of_kept_reports")]

    operations = [migrations.RunPython(forget, migrations.RunPython.noop)]
