"""Intervals in an order in which no two are equal, so that a page begins after the last row of the one before."""

from django.db import migrations, models

from reels.migrations._beside import AddIndexBeside


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('reports', '0013_how_far_the_fleet_is_assessed')]

    operations = [
        AddIndexBeside('assessedinterval', models.Index(fields=['-p_unlogged_cut', '-id'], name='interval_in_order')),
        migrations.RemoveIndex('assessedinterval', 'interval_by_probability'),
    ]
