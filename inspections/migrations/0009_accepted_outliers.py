import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """Only the class has another name. The table keeps its own, which every history names, so nothing is done to it."""

    dependencies = [
        ("inspections", "0008_photos_of_what_was_keyed"),
    ]

    operations = [
        migrations.AlterModelTable(name="SurpriseAccepted", table="inspections_surpriseaccepted"),
        migrations.RenameModel("SurpriseAccepted", "AcceptedOutlier"),
        migrations.AlterModelOptions(
            name="acceptedoutlier",
            options={"verbose_name": "surprise accepted", "verbose_name_plural": "surprises accepted"},
        ),
        migrations.AlterField(
            model_name="acceptedoutlier",
            name="reading",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="accepted_outlier",
                to="inspections.reading",
            ),
        ),
    ]
