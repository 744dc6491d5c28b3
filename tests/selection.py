"""Which tests a run leaves out, and why. `--everything` leaves out none; nor is left out what is named."""

from collections.abc import Iterable
from pathlib import Path

import pytest
from django.db import connection

DATABASE_FIXTURES = {"db", "transactional_db", "django_db_serialized_rollback", "live_server"}

# What can differ between SQLite and PostgreSQL, and so runs on both; all else would only say the same again, since it
# reaches the database through the same calls of Django. By file or folder, with what is looked at there.
ON_BOTH_DATABASES = {
    "tests/test_worlds.py": "rows read and put back as they are stored",
    # Constraints, triggers, locks and two at once.
    "tests/reels/test_append_only.py": "triggers, and each database's own ways round them",
    "tests/inspections/test_races.py": "two at once, and processes that are killed",
    "tests/inspections/api/test_races.py": "what waits for a lock and what is refused",
    "tests/inspections/pages/count/test_not_now.py": "a lock that is waited for too long",
    "tests/inspections/services/test_setup.py": "unique and check constraints of the numbers in force",
    "tests/inspections/services/test_failed_checks.py": "the same of a check that failed and its hold",
    "tests/inspections/services/test_maintenance.py": "the same of installations, holds and events",
    "tests/inspections/services/test_counting.py": "the same of keyings",
    "tests/inspections/services/test_signing.py": "the same of signatures",
    "tests/inspections/test_status_rows.py": "rows that are kept, rebuilt and checked",
    "tests/inspections/test_status_machine.py": "rows that acts keep beside those they are worked out from",
    "tests/inspections/services/test_findings.py": "the same of findings",
    "tests/inspections/services/test_findings_at_a_count.py": "findings and their holds, within the act of a count",
    "tests/inspections/services/test_photos.py": "bytes, kept and refused",
    "tests/inspections/services/intake": "many rows at once, and rows that are refused",
    "tests/reports/services/test_killed_tasks.py": "processes that are killed within a long transaction",
    "tests/reports/services/test_verification_by_night.py": "rows read as they are stored",
    "tests/reports/services/test_verification_runs.py": "snapshots, one after another",
    "tests/reels/services": "people, register, tries, history and checkpoints: locks and unique names",
    "tests/reels/pages/test_tasks.py": "the same of tasks as they are shown",
    "tests/deploy/test_problems.py": "errors of the driver, in our words",
    "tests/deploy/test_flush.py": "the flush between tests",
    "tests/deploy/test_sessions.py": "a session store that loses its database",
    "tests/deploy/test_configuration.py": "connections and their options",
    # The feed, whose order is that of commits; pages of lists.
    "tests/reels/api/test_feed_gap.py": "transactions that commit in another order than they began",
    "tests/reels/api/test_changes.py": "the same by way of the API",
    "tests/reels/api/test_paging.py": "cursors",
    # SQL that is written out, statistics, JSON, dates, and words that are compared and sorted.
    "tests/deploy/test_query_plans.py": "plans, which only PostgreSQL tells",
    "tests/deploy/test_standby.py": "the second database",
    "tests/deploy/test_port.py": "from the one to the other",
    "tests/deploy/watching": "probes and figures, which ask the database about itself",
    "tests/inspections/queries": "windows, dates and JSON in queries",
    "tests/inspections/pages/reel/test_reel_list.py": "filters and orders of words, and counts by status",
    "tests/inspections/pages/reel/test_history.py": "filters by day and person",
    "tests/reports/pages/test_board.py": "filters, orders and what is due by day",
    "tests/reports/pages/test_audit.py": "filters of sign-offs by day",
    "tests/reports/services/test_drift_report.py": "ranking in the database",
    "tests/reports/services/test_monthly.py": "sums and moments by subqueries, and the least of two times",
    "tests/reports/test_evidence_study.py": "stored bytes and rows, written out and checked",
    "tests/reports/services/test_verification.py": "rows of every kind, changed by SQL, and found",
    "tests/reports/services/test_verification_of_signatures.py": "the same of signatures and statements",
    "tests/reports/services/test_verification_of_what_is_worked_out.py": "the same of what is kept beside records",
    # One journey of each kind, what is asked of everybody, and what a fuzzer thinks of.
    "tests/inspections/services/test_whole_job.py": "a job through the services",
    "tests/inspections/api/test_whole_job.py": "the same through the API",
    "tests/inspections/api/test_repeat.py": "the same request twice",
    "tests/inspections/pages/count/test_worksheet_endings.py": "a count by its pages",
    "tests/deploy/test_demo_walk.py": "the demo's walk",
    "tests/deploy/test_matrix.py": "who may do what",
    "tests/deploy/test_fuzzing.py": "values that a column or a driver would not take",
    "tests/reports/test_every_column.py": "every column written by SQL, and who finds it",
    "tests/reports/test_tamper_study.py": "what goes past the triggers, and is found",
    "tests/reports/services/test_archive.py": "documents as they are stored",
    "tests/reports/services/test_notices.py": "who is told of what, once",
}


def leave_out(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Deselect what this run need not have."""
    if config.getoption("--everything"):
        needed = [item for item in items if connection.vendor == "sqlite" or uses_database(item)]
    else:
        needed = [item for item in items if not _is_too_long(config, item) and _is_for_this_database(config, item)]
    chosen = set(needed)
    config.hook.pytest_deselected(items=[item for item in items if item not in chosen])
    items[:] = needed


def uses_database(item: pytest.Item) -> bool:
    fixtures: list[str] = getattr(item, "fixturenames", [])
    return item.get_closest_marker("django_db") is not None or not DATABASE_FIXTURES.isdisjoint(fixtures)


def is_named(config: pytest.Config, folder: str) -> bool:
    return any(folder in Path(argument).parts for argument in config.args)


def _is_too_long(config: pytest.Config, item: pytest.Item) -> bool:
    """A long study or a whole deployment, whose short form runs; naming its file has it run."""
    return item.get_closest_marker("long") is not None and not any(".py" in argument for argument in config.args)


def _is_for_this_database(config: pytest.Config, item: pytest.Item) -> bool:
    if connection.vendor == "sqlite":
        return True
    names_all = all(Path(argument).name == "tests" for argument in config.args)
    return uses_database(item) and (not names_all or _is_under(item.path, ON_BOTH_DATABASES))


def _is_under(path: Path, places: Iterable[str]) -> bool:
    top = Path(__file__).resolve().parents[1]
    return any(path.is_relative_to(top / place) for place in places)
