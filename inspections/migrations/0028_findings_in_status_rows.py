"""The findings of each reel in its status row, and how many there are; `manage.py rebuild_status` fills in what there is."""


import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inspections', '0027_what_a_machine_showed'),
        ('reels', '0020_document_of_an_installation'),
    ]

    operations = [
        migrations.AlterModelOptions(
            name='reelnumber',
            options={'verbose_name_plural': 'numbers of reels'},
        ),
        migrations.AddField(
            model_name='reelstatusrow',
            name='findings',
            field=models.JSONField(default=list, help_text='Of each kind: part, kind, its words; how many are recorded, open, and open stops.'),
        ),
        migrations.CreateModel(
            name='FindingNumber',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('part', models.CharField(max_length=11)),
                ('kind', models.CharField(max_length=30)),
                ('kind_words', models.CharField(max_length=80)),
                ('reels', models.IntegerField()),
                ('recorded', models.IntegerField()),
                ('open', models.IntegerField()),
                ('stops', models.IntegerField(help_text='Of those that are open.')),
                ('site', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='reels.site')),
                ('type', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='reels.reeltype')),
            ],
            options={
                'verbose_name_plural': 'numbers of findings',
                'indexes': [models.Index(fields=['site', 'type'], name='finding_number_by_place')],
            },
        ),
    ]
