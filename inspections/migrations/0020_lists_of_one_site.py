"""The reels of one site in their order; without it SQLite sorts all of them for each page."""

from django.db import migrations, models

from reels.migrations._beside import AddIndexBeside


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('inspections', '0019_lists_by_status_rows')]

    operations = [AddIndexBeside('reelstatusrow', models.Index(fields=['site', 'serial'], name='standing_by_site'))]
