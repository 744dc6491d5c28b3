"""Status rows are of inspections now; the tables stay where they are, so that nothing is done to the database."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [('inspections', '0016_third_readings'), ('reports', '0011_drift_as_of_a_day')]

    operations = [
        migrations.SeparateDatabaseAndState(state_operations=[migrations.DeleteModel(name='ReelStatusRow')]),
        # Nodes that run the older code still read this table; it goes with the release after this one.
        migrations.SeparateDatabaseAndState(state_operations=[migrations.DeleteModel(name='StatusWatermark')]),
    ]
