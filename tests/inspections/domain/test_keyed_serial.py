"""The serial keyed from the data plate: in which form it is kept, and what to do when it names another reel."""

from typing import Any

import pytest

from inspections.domain import keying
from inspections.domain.words import Point, Role
from inspections.errors import ImpossibleReading


@pytest.mark.parametrize("keyed", ["LW-0001", " lw 0001 ", "x" * 40])
def test_a_serial_is_kept_as_it_was_keyed_but_for_the_spaces_around_it(keyed: str) -> None:
    kept = keying.value_at(Point.SERIAL, {"serial": keyed})
    assert (kept, keying.fields_at(Point.SERIAL, kept)) == (keyed.strip(), {"serial": keyed.strip()})


@pytest.mark.parametrize("wrong", [None, 1, "", " - ", "x" * 41])
def test_what_is_no_serial_is_refused(wrong: Any) -> None:
    with pytest.raises(ImpossibleReading) as refused:
        keying.value_at(Point.SERIAL, {"serial": wrong})
    assert refused.value.facts == {
        "field": "serial", "seen": repr(wrong), "allowed": "the serial in full, at most 40 characters"
    }  # fmt: skip


def test_a_reading_is_taken_again_from_the_open_side_on() -> None:
    assert keying.READING_STEPS[0] == {Point.OPEN_SIDE}
    assert len(keying.READING_STEPS) == len(keying.STEPS) - 1


@pytest.mark.parametrize(
    ("technicians", "verifiers", "todo"),
    [
        ("lw 0001", "LW-0001", ""),
        ("LW-0002", "lw0002", "Another reel is on the stand: bring reel LW-0001"),
        ("LW-0002", "LW-0001", "Read the data plate once more, together. If it says LW-0001, begin again"),
        ("LW-0001", "LW-0002", "Read the data plate once more, together."),
        ("LW-0002", "LW-0003", "Read the data plate once more, together."),
    ],
)
def test_what_to_do_when_the_data_plate_names_another_reel(technicians: str, verifiers: str, todo: str) -> None:
    words = keying.another_reel("LW-0001", {Role.TECHNICIAN: technicians, Role.VERIFIER: verifiers})
    assert todo in words
    assert bool(words) is bool(todo)
    if words:
        assert words.startswith(
            f"The serial was keyed as {technicians} by the technician and {verifiers} by the verifier; this count was "
            "of reel LW-0001."
        )
