"""Model classes get other names; the tables keep theirs, so that nothing is done to the database."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [('reports', '0008_notices')]

    operations = [
        migrations.AlterModelTable(name='Standing', table='reports_standing'),
        migrations.AlterModelTable(name='StandingsMade', table='reports_standingsmade'),
        migrations.RenameModel(old_name='Standing', new_name='ReelStatusRow'),
        migrations.RenameModel(old_name='StandingsMade', new_name='StatusWatermark'),
        migrations.AlterField(
            model_name='reelstatusrow',
            name='reel',
            field=models.OneToOneField(
                on_delete=models.deletion.CASCADE, related_name='status_row', to='reels.reel'
            ),
        ),
    ]
