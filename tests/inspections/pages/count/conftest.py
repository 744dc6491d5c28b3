import pytest

from tests import builders, stories
from tests.builders import Cast


@pytest.fixture
def cast():
    builders.make_reel()
    return Cast.as_needed()


@pytest.fixture
def inspection(cast):
    return builders.open_count(cast)


@pytest.fixture
def at_scales(cast, inspection):
    """The count once both agree on all that comes before the scales."""
    return stories.key_both(cast, inspection, *stories.BEFORE_THE_SCALES)
