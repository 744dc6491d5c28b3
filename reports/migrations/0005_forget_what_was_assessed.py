from typing import Any

from django.db import migrations


def forget(apps: Any, _schema: Any) -> None:
    """What was worked out is no record; it is worked out again when it is asked for."""
    apps.get_model("reports", "AssessedInterval").objects.all().delete()
    apps.get_model("reports", "Assessment").objects.all().delete()


class Migration(migrations.Migration):
    dependencies = [("reports", "0004_type_of_an_assessment")]

    operations = [migrations.RunPython(forget, migrations.RunPython.noop)]
