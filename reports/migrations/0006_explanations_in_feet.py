from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("reports", "0005_forget_what_was_assessed")]

    operations = [
        migrations.AddField(
            model_name="assessedinterval",
            name="explanation_ft",
            field=models.TextField(default="", help_text="The same with lengths in feet."),
            preserve_default=False,
        ),
    ]
