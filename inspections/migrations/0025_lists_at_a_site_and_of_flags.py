"""The board of one site in its order, and the reels that are flagged or under review."""

from django.db import migrations, models

from reels.migrations._beside import AddIndexBeside

ORDER = ['rank', 'last_at', 'serial']
INDEXES = [
    models.Index(fields=['site', *ORDER], name='standing_at_site_in_order'),
    models.Index(fields=ORDER, name='standing_flagged', condition=models.Q(is_flagged=True)),
    models.Index(fields=ORDER, name='standing_open', condition=models.Q(has_open_flag=True)),
]


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('inspections', '0024_flagged_reels')]

    operations = [
        *(AddIndexBeside('reelstatusrow', index) for index in INDEXES),
        migrations.RemoveIndex(model_name='reelstatusrow', name='standing_by_place'),
    ]
