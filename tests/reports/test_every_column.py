"""Every column of every table, changed by SQL with the guards dropped: found, or in the handbook's list.

The short form writes another plausible value into each column that no history tells (those that one tells are in
services/test_verification.py); the long one every odd value that the database takes into every column there is.
"""

import re
from pathlib import Path

import pytest
from django.db import connection

from tests.reports.every_column import (
    GIVES_RIGHTS,
    Tampered,
    every_model,
    odd_values,
    one_row_in_every_table,
    plausible,
)
from tests.reports.tampering import drop_guards

RECORDS = Path(__file__).resolve().parents[2] / "deploy" / "handbook" / "records.md"
LINE = re.compile(r"^\| ((?:`\w+`(?:, )?)+) \| ([^|]+) \| ([^|]+) \|$", re.MULTILINE)


def answers():
    """Of each table in the handbook, the columns of which nobody finds a change; "all" for all."""
    told = {}
    for tables, _, unfound in LINE.findall(RECORDS.read_text()):
        for table in re.findall(r"`(\w+)`", tables):
            assert table not in told, table
            told[table] = {"all"} if unfound == "all" else set(re.findall(r"`(\w+)`", unfound))
    return told


@pytest.fixture
def tampered(db):
    one_row_in_every_table()
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    drop_guards()
    return Tampered()


def test_the_handbook_says_of_every_table_who_finds_what(db):
    known = {model._meta.db_table for model in every_model()}
    assert set(answers()) - known == set()
    assert known - set(answers()) == set(), "say who finds a change of it (deploy/handbook/records.md)"
    of_no_model = {name for name in connection.introspection.table_names() if name not in known}
    assert all(f"`{name.partition('_names_')[0]}" in RECORDS.read_text() for name in of_no_model), of_no_model


def unfound(tampered, models, values):
    """Where none of what was written was found though something else stands there, by table."""
    missed: dict[str, set[str]] = {}
    for model in models:
        for field in columns_of(model):
            seen = [tampered.is_found(model, (field, value)) for value in values(model, field)]
            if False in seen:
                missed.setdefault(model._meta.db_table, set()).add(field.column)
    return missed


def columns_of(model):
    return [field for field in model._meta.concrete_fields if not field.primary_key]


def expected_of(models):
    """As the handbook has it."""
    told = answers()
    return {
        model._meta.db_table: (
            {field.column for field in columns_of(model)} if columns == {"all"} else columns
        )
        for model in models if (columns := told[model._meta.db_table])
    }  # fmt: skip


def test_a_change_of_any_column_that_no_history_tells_is_found_or_in_the_list(tampered):
    of_nobody = [each for each in every_model() if answers()[each._meta.db_table] == {"all"}]
    for model in of_nobody:  # all columns at once, for that is quicker
        changed = [(field, plausible(model, field)) for field in columns_of(model)]
        assert tampered.is_found(model, *changed) is False, model
    told = {each for each in every_model() if getattr(each, "kept", None)}
    models = [each for each in every_model() if each not in {*told, *of_nobody, *GIVES_RIGHTS}]
    assert unfound(tampered, models, lambda model, field: [plausible(model, field)]) == expected_of(models)


@pytest.mark.long
def test_no_odd_value_in_any_column_is_found_by_nobody_but_those_in_the_list(tampered):
    models = [each for each in every_model() if each not in GIVES_RIGHTS]
    expected = expected_of(models)
    missed = {(table, column) for table, columns in unfound(tampered, models, odd_values).items() for column in columns}
    assert {place for place in missed if place[1] not in expected.get(place[0], ())} == set()
