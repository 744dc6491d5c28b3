"""The reels that have reached, or will reach, a limit of a life."""

from django.db import migrations, models

from reels.migrations._beside import AddIndexBeside


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('inspections', '0031_ends_and_limits_in_status_rows')]

    operations = [
        AddIndexBeside(
            'reelstatusrow',
            models.Index(
                fields=[f'{limit}_limit_at'],
                name=f'standing_{limit}_limit',
                condition=models.Q(**{f'{limit}_limit_at__isnull': False}),
            ),
        )
        for limit in ('soft', 'hard')
    ]
