from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('reels', '0029_blocks_of_entries'),
    ]

    operations = [
        migrations.AddField(
            model_name='entriesblock',
            name='level',
            # those that are kept have 64 times 64 entries
            field=models.PositiveSmallIntegerField(default=2, help_text='1: a block of entries; 2: one of those, and so on.'),
            preserve_default=False,
        ),
        migrations.AlterField(
            model_name='entriesblock',
            name='number',
            field=models.PositiveIntegerField(help_text='From 0, on its level.'),
        ),
        migrations.AddConstraint(
            model_name='entriesblock',
            constraint=models.UniqueConstraint(fields=('level', 'number'), name='entries_block_one_per_place'),
        ),
    ]
