"""Indexes that are made while the table is written to, where the database can do that."""

from typing import Any

from django.contrib.postgres.operations import AddIndexConcurrently
from django.db.migrations.operations import AddIndex


class AddIndexBeside(AddIndexConcurrently):
    """AddIndexConcurrently on PostgreSQL, AddIndex on SQLite, which has one writer anyway."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)
        else:
            AddIndex.database_forwards(self, app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        if schema_editor.connection.vendor == "postgresql":
            super().database_backwards(app_label, schema_editor, from_state, to_state)
        else:
            AddIndex.database_backwards(self, app_label, schema_editor, from_state, to_state)
