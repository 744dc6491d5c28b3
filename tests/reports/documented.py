"""Inspections that are signed in a test, with the documents that are kept of them."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import DEFAULT_DB_ALIAS
from django.test import TestCase

from inspections.models import Inspection
from reports.models import ArchivedPdf
from tests import builders
from tests.builders import Cast


@contextmanager
def committed() -> Iterator[None]:
    """What is done within counts as committed: what waits for that is run."""
    with TestCase.captureOnCommitCallbacks(using=DEFAULT_DB_ALIAS, execute=True):
        yield


def signed(cast: Cast, serial: str = "LW-0001") -> Inspection:
    """A reel with one signed inspection, and its first document."""
    builders.make_reel(serial)
    with committed():
        return builders.signed_count(cast, serial)


def documents(inspection: Inspection) -> list[ArchivedPdf]:
    return list(ArchivedPdf.objects.filter(inspection=inspection))
