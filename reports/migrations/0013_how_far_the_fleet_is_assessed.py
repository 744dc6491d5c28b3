"""Up to where the fleet is assessed; the worker fills it in when it is asked for first."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inspections', '0024_flagged_reels'),
        ('reports', '0012_status_rows_move'),
    ]

    operations = [
        migrations.CreateModel(
            name='FleetAssessment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('place', models.PositiveBigIntegerField()),
                ('type_digests', models.JSONField(help_text='Of each reel type as it was, by its id.')),
                ('flag_at', models.FloatField(help_text='The least probability that is flagged.')),
                ('made_at', models.DateTimeField()),
                ('rates', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inspections.learnedrates')),
            ],
        ),
    ]
