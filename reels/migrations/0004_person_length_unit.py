from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("reels", "0003_checkpoints")]

    operations = [
        migrations.AddField(
            model_name="person",
            name="length_unit",
            field=models.CharField(choices=[("m", "m"), ("ft", "ft")], default="m", max_length=2),
        ),
    ]
