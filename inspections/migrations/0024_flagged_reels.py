"""Which reels are flagged, in their status rows and in the numbers; `manage.py rebuild_status` fills in what there is."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inspections', '0023_names_in_status_rows'),
        ('reels', '0014_tasks_that_are_stopped_and_their_files'),
    ]

    operations = [
        migrations.CreateModel(
            name='FlaggedReel',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ],
        ),
        migrations.AddField(
            model_name='reelnumber',
            name='flagged',
            field=models.IntegerField(db_default=0, default=0, help_text='Of these reels, those flagged; 0 by week.'),
        ),
        migrations.AddField(
            model_name='reelstatusrow',
            name='is_flagged',
            field=models.BooleanField(db_default=False, default=False, help_text='See FlaggedReel.'),
        ),
        migrations.AddField(
            model_name='flaggedreel',
            name='reel',
            field=models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='flagged', to='reels.reel'),
        ),
    ]
