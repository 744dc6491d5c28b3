"""The rules of a type are sourced by one administrator and confirmed by another."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from reels.domain.type_rules import TypeRule
from reels.errors import (
    AlreadyThere,
    AnotherAdministrator,
    OnlyAdministrators,
    OnlyInPerson,
    RulesNotSourced,
    ValueNotTaken,
)
from reels.models import ReelType
from reels.services import register
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, by_administrator, later
from tests.reels.services.test_register import last_entry

pytestmark = pytest.mark.django_db


def new_type(**changes):
    builders.make_publication()
    return builders.make_type(is_confirmed=False, **changes)


def source(row, *rules, actor=None, **changes):
    by = {**by_administrator(), **({"actor": actor} if actor else {})}
    place = {
        "publication": "LWS 12-3",
        "revision": "C",
        "paragraphs": dict.fromkeys(rules or TypeRule, "4.2"),
        **changes,
    }
    return register.source_rules(row, **place, **by)


def second():
    return {"actor": Actor(builders.second_administrator()), "at": NOW}


def test_a_new_type_is_not_confirmed_and_says_who_wrote_it():
    row = new_type()
    assert (row.rules_confirmed_at, row.rules_written_by, row.rule_sources) == (
        None, [builders.administrator().pk], {}
    )  # fmt: skip


def test_sourced_by_one_and_confirmed_by_another_it_stands():
    row = source(new_type())
    assert row.rule_sources["scale_line"] == {
        "publication": "LWS 12-3", "revision": "C", "paragraph": "4.2", "given_by": builders.administrator().pk,
    }  # fmt: skip
    register.confirm_rules(row, **second())
    row.refresh_from_db()
    assert (row.rules_confirmed_by.username, row.rules_confirmed_at) == ("bea", NOW)
    assert last_entry()["act"] == "rules_confirmed"
    with pytest.raises(AlreadyThere):
        register.confirm_rules(row, **second())


def test_a_rule_without_its_paragraph_is_named_and_nothing_is_confirmed():
    row = source(new_type(), *[rule for rule in TypeRule if rule not in (TypeRule.ARC, TypeRule.SCALE_LINE)])
    with pytest.raises(RulesNotSourced, match="crossover arc, scale line"):
        register.confirm_rules(row, **second())


def test_whoever_gave_or_changed_a_rule_does_not_confirm_them():
    row = source(new_type())
    with pytest.raises(AnotherAdministrator):
        register.confirm_rules(row, **by_administrator())
    source(row, TypeRule.LEAD, actor=second()["actor"])  # now both have given one
    for by in (second(), by_administrator()):
        with pytest.raises(AnotherAdministrator):
            register.confirm_rules(row, **by)


def test_a_script_and_whoever_is_no_administrator_confirm_nothing():
    row = source(new_type())
    script = Actor(builders.second_administrator(), via="token spool")
    with pytest.raises(OnlyInPerson):
        register.confirm_rules(row, actor=script, at=NOW)
    somebody: dict[str, Any] = {"actor": Actor(builders.make_person("pat")), "at": NOW}
    with pytest.raises(OnlyAdministrators):
        register.confirm_rules(row, **somebody)
    with pytest.raises(OnlyAdministrators):
        source(row, actor=somebody["actor"])


@pytest.mark.parametrize(
    ("changes", "unsourced"),
    [
        ({"lead_wraps": 2}, {"lead"}),
        ({"winding_sense": "counter_clockwise"}, {"winding_sense", "arc"}),
        ({"scale_line_at": "aft"}, {"scale_line"}),
        ({"max_layers": 21}, set()),
    ],
)
def test_a_changed_rule_loses_its_source_and_the_type_its_confirmation(changes, unsourced):
    row = builders.make_type()
    assert row.rules_confirmed_at
    register.change(row, **changes, **second())
    row = ReelType.objects.get()
    assert (row.rules_confirmed_at, row.rules_confirmed_by) == (None, None)
    assert row.rules_written_by == [builders.second_administrator().pk]
    assert set(TypeRule) - set(row.rule_sources) == unsourced


def test_what_is_no_rule_or_is_said_again_leaves_the_type_confirmed():
    row = builders.make_type()
    register.change(row, odd_face_mark="one notch", lead_wraps=1, **second())
    row.refresh_from_db()
    assert row.rules_confirmed_at
    assert len(row.rule_sources) == len(TypeRule)


def test_a_source_that_is_given_again_is_confirmed_again():
    row = builders.make_type()
    source(row, TypeRule.UNUSUAL, actor=second()["actor"])
    row.refresh_from_db()
    assert row.rules_confirmed_at is None


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"revision": "Z"}, "publication"), ({"paragraphs": {TypeRule.LEAD: "  "}}, "lead")],
)
def test_a_source_is_a_paragraph_of_a_publication_in_force(changes, field):
    with pytest.raises(ValueNotTaken) as refused:
        source(new_type(), **changes)
    assert refused.value.facts["field"] == field


def test_the_database_takes_no_confirmation_by_nobody():
    row = source(new_type())
    with pytest.raises(IntegrityError), transaction.atomic():
        ReelType.objects.filter(pk=row.pk).update(rules_confirmed_at=later())
