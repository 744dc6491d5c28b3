"""The index of findings by when they were closed is without those that are open."""

from django.db import migrations, models

from reels.migrations._beside import AddIndexBeside


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('inspections', '0034_practice_results_and_learned_rates')]

    operations = [
        AddIndexBeside('finding', models.Index(
            condition=models.Q(('closed_at__isnull', False)), fields=['closed_at'], name='finding_by_closing')),
        migrations.RemoveIndex(model_name='finding', name='finding_by_end'),
    ]
