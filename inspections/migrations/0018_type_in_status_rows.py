"""The type of each reel in its status row; `manage.py rebuild_status` fills it in for the rows that are there."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inspections', '0017_status_rows'),
        ('reels', '0012_whether_a_crossover_begins_its_layer'),
    ]

    operations = [
        migrations.AddField(
            model_name='reelstatusrow',
            name='type',
            field=models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='reels.reeltype'),
        ),
    ]
