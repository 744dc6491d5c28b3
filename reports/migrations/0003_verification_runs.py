from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("reports", "0002_assessments")]

    operations = [
        migrations.CreateModel(
            name="VerificationRun",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                ("chains", models.PositiveIntegerField()),
                ("entries", models.PositiveIntegerField()),
                ("signatures", models.PositiveIntegerField()),
                ("first_break", models.TextField(blank=True, help_text="Empty: whole.")),
            ],
        ),
    ]
