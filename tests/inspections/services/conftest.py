"""After every test of a service, whatever it did or was refused, all records are whole."""

from collections.abc import Iterator

import pytest

from reports.services.verification import check_records
from tests import builders
from tests.builders import Cast


@pytest.fixture(autouse=True)
def _records_are_whole_afterwards(db: None) -> Iterator[None]:
    yield
    assert check_records().broken is None


@pytest.fixture
def cast(db: None) -> Cast:
    """The cast, and reel LW-0001 at their site."""
    cast = Cast.as_needed()
    builders.make_reel()
    return cast
