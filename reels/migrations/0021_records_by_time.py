"""Cable events and holds by when they happened, for what is added up of a period."""

from django.db import migrations, models

from reels.migrations._beside import AddIndexBeside


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('reels', '0020_document_of_an_installation')]

    operations = [
        AddIndexBeside('cableevent', models.Index(fields=['happened_at'], name='cable_event_by_time')),
        AddIndexBeside('hold', models.Index(fields=['ended_at'], name='hold_by_end')),
        AddIndexBeside('machinehold', models.Index(fields=['ended_at'], name='machine_hold_by_end')),
    ]
