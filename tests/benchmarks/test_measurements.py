"""What the benchmarks print is put where the handbook shows it, and nowhere else."""

import pytest

from tests.benchmarks.__main__ import BENCHMARKS, PAGE, written


@pytest.mark.parametrize("name", BENCHMARKS)
def test_the_page_has_a_place_for_each(name):
    page = PAGE.read_text("utf-8")
    new = written(page, name, "python -m something", "a line\nanother\n")
    assert "`python -m something`\n\n    a line\n    another\n\n<!-- /" in new
    assert new.partition(f"<!-- {name} -->")[0] == page.partition(f"<!-- {name} -->")[0]
    assert new.partition(f"<!-- /{name} -->")[2] == page.partition(f"<!-- /{name} -->")[2]


def test_the_command_that_the_page_shows_is_the_one_that_is_run():
    page = PAGE.read_text("utf-8")
    for program, full, _ in BENCHMARKS.values():
        assert f"`python -m {program} {full}`" in page


def test_a_page_without_the_place_is_refused():
    with pytest.raises(ValueError, match="not enough values"):
        written("a page", "reading", "python -m something", "| a |\n")
