"""Status rows as the table `reports_standing` has them, and the numbers of the latest signed count in them."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inspections', '0016_third_readings'),
        ('reels', '0012_whether_a_crossover_begins_its_layer'),
        ('reports', '0012_status_rows_move'),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(state_operations=[
            migrations.CreateModel(
                name='ReelStatusRow',
                fields=[
                    ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                    ('serial', models.CharField(max_length=40)),
                    ('head', models.CharField(max_length=64)),
                    ('status', models.CharField(max_length=25)),
                    ('rank', models.PositiveSmallIntegerField()),
                    ('since', models.DateTimeField()),
                    ('counted_at', models.DateTimeField(help_text='Of the last count, signed or of older records.', null=True)),
                    ('last_at', models.DateTimeField(help_text='Of the last count; of its coming, where there is none.')),
                    ('live_id', models.BigIntegerField(help_text='The inspection under way.', null=True)),
                    ('values_id', models.BigIntegerField(help_text='The setup values in force.', null=True)),
                    ('values_machine', models.CharField(blank=True, max_length=40)),
                    ('hold_why', models.TextField(blank=True)),
                    ('has_open_flag', models.BooleanField()),
                    ('machine', models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='reels.machine')),
                    ('reel', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='status_row', to='reels.reel')),
                    ('site', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='reels.site')),
                ],
                options={
                    'db_table': 'reports_standing',
                    'indexes': [models.Index(fields=['rank', 'last_at', 'serial'], name='standing_in_order'), models.Index(fields=['site', 'status', 'last_at', 'has_open_flag'], name='standing_by_place')],
                },
            ),
        ]),
        migrations.AddField('reelstatusrow', 'signed_count_at', models.DateTimeField(help_text='When the latest signed count was done.', null=True)),
        migrations.AddField('reelstatusrow', 'layers', models.PositiveSmallIntegerField(help_text='Of that count.', null=True)),
        migrations.AddField('reelstatusrow', 'wraps', models.PositiveSmallIntegerField(help_text='Of that count.', null=True)),
    ]
