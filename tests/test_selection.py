"""What is left out of a run is left out on purpose."""

import re
from pathlib import Path

import pytest

from tests.selection import ON_BOTH_DATABASES

TOP = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize("place", ON_BOTH_DATABASES)
def test_what_runs_on_both_databases_is_there(place):
    assert (TOP / place).exists()


def test_whatever_asks_which_database_it_is_runs_on_both():
    asking = {
        path.relative_to(TOP)
        for path in (TOP / "tests").rglob("test_*.py")
        if re.search(r"\bconnection\.vendor\b", path.read_text(encoding="utf-8"))
    }
    assert asking
    listed = [Path(place) for place in ON_BOTH_DATABASES]
    assert [path for path in asking if not any(path.is_relative_to(place) for place in listed)] == []
