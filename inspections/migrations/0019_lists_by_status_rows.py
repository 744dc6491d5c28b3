"""What lists of reels are ordered and counted by."""

from django.db import migrations, models

from reels.migrations._beside import AddIndexBeside

INDEXES = {
    'standing_by_serial': ['serial'],
    'standing_by_status': ['status', 'serial'],
    'standing_by_type': ['type', 'site', 'status'],
}


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('inspections', '0018_type_in_status_rows')]

    operations = [
        AddIndexBeside('reelstatusrow', models.Index(fields=fields, name=name)) for name, fields in INDEXES.items()
    ]
