"""What people act on and no history tells: worked out again, or compared with the code; and whose checkpoints hold."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import Group, Permission
from django.contrib.contenttypes.models import ContentType
from django.db import connection

from inspections.models import FlaggedReel, LearnedRates, ReelStatusRow
from inspections.services.status_rows import rebuild_status_rows
from reels.domain import checkpoint
from reels.models import CheckpointMade, HistoryEntry, Reel
from reels.services import checkpoints
from reels.services.checkpoint_key import make_key
from reports.models import AssessedInterval, Assessment, FleetAssessment
from reports.services import assessments
from reports.services.verification import check_records, worked_out
from tests import builders
from tests.builders import NOW, administrator, later
from tests.inspections.services.intake.test_records import COUNTS_HEADER, bring_in
from tests.reports.fleet import assessed_fleet
from tests.reports.tampering import broken_by, drop_guards, other

pytestmark = pytest.mark.django_db


@pytest.fixture
def fleet():
    assessed_fleet()
    assert check_records().broken is None
    assert FlaggedReel.objects.count() == 1


def sql(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)


# Drift ----------------------------------------------------------------------------------------------------------------


def test_flags_that_one_update_takes_away_are_found(fleet):
    def with_the_flags() -> None:
        sql("UPDATE reports_assessedinterval SET p_unlogged_cut = 0")
        FlaggedReel.objects.all().delete()
        FleetAssessment.objects.update(flag_at=2.0)
        for _ in rebuild_status_rows():
            pass

    assert broken_by(sql, "UPDATE reports_assessedinterval SET p_unlogged_cut = 0")
    why = broken_by(with_the_flags)
    assert why.startswith("drift of reel LW-0001: p_unlogged_cut from ")
    assert "is kept as 0.0" in why


@pytest.mark.parametrize("column", worked_out.SHOWN)
def test_another_value_of_any_column_of_an_interval_is_found(fleet, column):
    row = AssessedInterval.objects.order_by("pk")[3]
    value = getattr(row, column)
    changed = value + 0.01 if isinstance(value, float) else other(AssessedInterval._meta.get_field(column), value)
    why = broken_by(AssessedInterval.objects.filter(pk=row.pk).update, **{column: changed})
    assert why.startswith("drift of reel LW-0001: ")


def test_an_interval_too_few_and_one_of_another_reel_are_found(fleet):
    assert "its records give 11" in broken_by(AssessedInterval.objects.latest("pk").delete)
    row = AssessedInterval.objects.latest("pk")
    elsewhere = Assessment.objects.get(reel__serial="LW-0002")
    assert "are kept, and" in broken_by(AssessedInterval.objects.filter(pk=row.pk).update, assessment=elsewhere)


@pytest.mark.parametrize(("column", "value"), [("head", "0" * 64), ("type_digest", "0" * 64)])
def test_an_assessment_of_another_history_or_type_than_the_fleets_is_found(fleet, column, value):
    rows = Assessment.objects.filter(reel__serial="LW-0003")
    assert "what was worked out of it is gone, or from an older history" in broken_by(rows.update, **{column: value})


def test_an_assessment_that_is_gone_and_one_with_other_rates_are_found(fleet):
    def remove() -> None:
        AssessedInterval.objects.filter(assessment__reel__serial="LW-0003").delete()
        Assessment.objects.filter(reel__serial="LW-0003").delete()

    assert "what was worked out of it is gone" in broken_by(remove)
    rates = LearnedRates.objects.get()
    rates.pk = rates.pk - 1

    def with_others() -> None:
        rates.save(force_insert=True)
        Assessment.objects.filter(reel__serial="LW-0003").update(rates=rates)

    assert broken_by(with_others)


def test_what_came_after_the_assessment_is_no_break_and_an_older_history_is(fleet):
    heads = dict(HistoryEntry.objects.filter(chain__reel__serial="LW-0002").values_list("seq", "digest"))
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0002,2025-06-01T10:00:00Z,12,12,,,\n"})
    assessments.bring_up_to_date(at=NOW)
    bring_in({"counts.csv": COUNTS_HEADER + "LW-0002,2025-07-01T10:00:00Z,12,12,,,\n"})
    assert check_records().broken is None
    rows = Assessment.objects.filter(reel__serial="LW-0002")
    assert "an older history than the fleet's" in broken_by(rows.update, head=heads[1])
    assert "a history that it never had" in broken_by(rows.update, head="0" * 64)
    assessments.bring_reel_up_to_date(Reel.objects.get(serial="LW-0002"), at=NOW + timedelta(days=1))
    assert check_records().broken is None
    assessments.bring_up_to_date(at=NOW + timedelta(days=1))
    assert check_records().broken is None


def test_a_reel_that_is_flagged_or_not_against_its_intervals_is_found(fleet):
    def unflag() -> None:
        FlaggedReel.objects.all().delete()
        ReelStatusRow.objects.update(is_flagged=False)
        for _ in rebuild_status_rows():
            pass

    assert "whether it is flagged" in broken_by(unflag)
    assert "it is flagged from" in broken_by(FleetAssessment.objects.update, flag_at=0.9)


# The framework --------------------------------------------------------------------------------------------------------


def give_a_group() -> None:
    administrator().groups.add(Group.objects.create(name="all"))


def give_a_permission() -> None:
    administrator().user_permissions.add(Permission.objects.latest("pk"))


FRAMEWORK: list[tuple[Any, str]] = [
    (give_a_group, "auth_group"),
    (give_a_permission, "reels_person_user_permissions"),
    (lambda: Permission.objects.filter(codename="view_reel").update(codename="x"), "permission to view reels.Reel"),
    (lambda: ContentType.objects.filter(model="reel").update(model="real"), "content type of reels.Reel"),
    (
        lambda: sql("DELETE FROM django_migrations WHERE name = '0001_first' AND app = 'reels'"),
        "it is not noted as done",
    ),
    (
        lambda: sql("INSERT INTO django_migrations (app, name, applied) VALUES ('reels', 'x', '2026-01-01')"),
        "there is none",
    ),
]


@pytest.mark.parametrize(("change", "told"), FRAMEWORK)
def test_rights_and_kinds_past_the_code_are_found(change, told):
    administrator()
    assert told in broken_by(change)


# Checkpoints ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def keys(tmp_path, settings):
    settings.CHECKPOINT_KEY_FILE = str(tmp_path / "key.pem")
    return tmp_path


def test_a_checkpoint_that_names_a_key_of_its_own_is_found(keys):
    builders.make_reel()
    made = checkpoints.make(later())
    theirs = make_key(keys / "theirs.pem")
    said = checkpoint.lines_of(made.text)
    forged = checkpoint.Checkpoint(
        service=said["service"], made_at=made.made_at, entries=made.entries, chains=int(said["chains"]), root=made.root,
        ends=made.ends_root, key=checkpoint.public_hex(theirs),
    )  # fmt: skip
    text = checkpoint.signed_text(forged, theirs)

    def forge() -> None:
        made.delete()
        CheckpointMade.objects.create(
            entries=made.entries, root=made.root, ends_root=made.ends_root, made_at=made.made_at, text=text
        )

    assert check_records().broken is None
    drop_guards()
    assert "none of this service's" in broken_by(forge)


def test_a_checkpoint_of_a_retired_key_holds_as_long_as_its_public_key_is_kept(keys):
    builders.make_reel()
    checkpoints.make(later())
    Path(settings.CHECKPOINT_KEY_FILE).rename(keys / "old.pem")
    make_key(Path(settings.CHECKPOINT_KEY_FILE))
    builders.make_reel("LW-0002")
    checkpoints.make(later(days=1))
    known = keys / "key.pem.public"
    assert (check_records().broken, len(known.read_text().split())) == (None, 2)
    known.unlink()
    assert "none of this service's" in str(check_records().broken)
