from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("reels", "0002_tokens_submissions_and_feed")]

    operations = [
        migrations.CreateModel(
            name="CheckpointMade",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("entries", models.PositiveBigIntegerField(unique=True)),
                ("root", models.CharField(max_length=64)),
                ("made_at", models.DateTimeField()),
                ("text", models.TextField()),
            ],
        ),
    ]
