"""Notices of counts that lapse while their values are in force, and of lives near their ends."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('reports', '0015_notices_of_late_moves'),
    ]

    operations = [
        migrations.AlterField(
            model_name='notice',
            name='kind',
            field=models.CharField(choices=[('hold', 'hold'), ('finding', 'finding'), ('withdrawal', 'withdrawal'), ('read_back', 'read back'), ('lapsed', 'lapsed'), ('life', 'life'), ('flag', 'flag'), ('late_move', 'late move'), ('authorisation', 'authorisation')], max_length=13),
        ),
        migrations.AlterField(
            model_name='noticechoice',
            name='kind',
            field=models.CharField(choices=[('hold', 'hold'), ('finding', 'finding'), ('withdrawal', 'withdrawal'), ('read_back', 'read back'), ('lapsed', 'lapsed'), ('life', 'life'), ('flag', 'flag'), ('late_move', 'late move'), ('authorisation', 'authorisation')], max_length=13),
        ),
    ]
