"""What ended each reel's count, and when a limit of a life is reached; `manage.py rebuild_status` fills in what there is."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inspections', '0030_moves_with_two_ends'),
        ('reels', '0023_lives_and_reversed_events'),
    ]

    operations = [
        migrations.AddField(
            model_name='reelstatusrow',
            name='count_ended_at',
            field=models.DateTimeField(help_text='When that count was ended, not by days.', null=True),
        ),
        migrations.AddField(
            model_name='reelstatusrow',
            name='count_ended_why',
            field=models.TextField(db_default='', default=''),
        ),
        migrations.AddField(
            model_name='reelstatusrow',
            name='hard_limit_at',
            field=models.DateTimeField(help_text='The same of a hard one.', null=True),
        ),
        migrations.AddField(
            model_name='reelstatusrow',
            name='soft_limit_at',
            field=models.DateTimeField(help_text='When a soft limit of a life was or will be reached.', null=True),
        ),
    ]
