"""The orders of sign-offs and of findings that are open."""

from django.db import migrations, models

from reels.migrations._beside import AddIndexBeside


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('inspections', '0025_lists_at_a_site_and_of_flags')]

    operations = [
        AddIndexBeside('signoff', models.Index(fields=['-signed_at', '-id'], name='sign_off_in_order')),
        AddIndexBeside(
            'finding',
            models.Index(fields=['severity', '-id'], name='finding_open', condition=models.Q(closed_at__isnull=True)),
        ),
    ]
