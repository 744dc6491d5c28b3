from django.db import migrations, models


def mac_field() -> "models.CharField[str, str]":
    return models.CharField(db_default="", default="", help_text="See services/marks.py.", max_length=64)


class Migration(migrations.Migration):
    dependencies = [("reports", "0020_histories_known_again")]

    operations = [
        migrations.AddField(model_name="asofreport", name="mac", field=mac_field()),
        migrations.AddField(
            model_name="asofreport",
            name="digest",
            field=models.CharField(db_default="", default="", help_text="SHA-256 of the content.", max_length=64),
        ),
        migrations.AddField(model_name="keptmonthlyreport", name="mac", field=mac_field()),
    ]
