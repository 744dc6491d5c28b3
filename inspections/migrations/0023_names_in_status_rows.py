"""What each reel is searched by, with an index of trigrams; `manage.py rebuild_status` fills it in for the rows there are.

On SQLite the index is made after the migration: see inspections/names_index.py.
"""

from typing import Any

from django.contrib.postgres.operations import TrigramExtension
from django.db import migrations, models

from inspections import names_index

INDEX = 'standing_by_names'


def add_index(apps: Any, schema_editor: Any) -> None:
    if schema_editor.connection.vendor == 'postgresql':
        schema_editor.execute(
            f'CREATE INDEX CONCURRENTLY IF NOT EXISTS {INDEX} ON reports_standing USING gin (names gin_trgm_ops)'
        )


def remove_index(apps: Any, schema_editor: Any) -> None:
    names_index.uninstall(schema_editor.connection)
    if schema_editor.connection.vendor == 'postgresql':
        schema_editor.execute(f'DROP INDEX CONCURRENTLY IF EXISTS {INDEX}')


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('inspections', '0022_practice_begins_at_the_stand')]

    operations = [
        migrations.AddField(
            model_name='reelstatusrow',
            name='names',
            field=models.TextField(db_default='', default='', help_text='What it is searched by: see queries/search.py.'),
        ),
        TrigramExtension(),
        migrations.RunPython(add_index, remove_index),
    ]
