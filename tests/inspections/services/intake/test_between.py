"""Events and installations brought in from older records."""

from typing import Any

import pytest

from inspections.errors import CountLapsed
from reels.models import HistoryEntry, Hold, Installation, Move, ReelEvent, ReelType
from reels.services import register
from tests import builders
from tests.builders import NOW, Cast, by_administrator
from tests.inspections.services.intake.test_records import bring_in, refused

pytestmark = pytest.mark.django_db
EVENTS = (
    "reel,happened_at,kind,recorded_at,document,uses,hours,length_out_m,words\n"
    "LW-0001,2025-03-02T08:00:00Z,used,2025-03-03T08:00:00Z,WO-4,3,1.5,80,a survey\n"
    "LW-0001,2025-04-02T08:00:00Z,incident,,WO-5,,,12,it jammed\n"
    "LW-0002,2025-04-02T08:00:00Z,respooled,,,,,,\n"
)
INSTALLED = (
    "reel,machine,installed_at,removed_at,document\n"
    "LW-0001,RM-7,2025-03-01T12:00:00Z,2025-04-03T12:00:00Z,WO-3\n"
    "LW-0002,RM-7,2025-04-04T12:00:00Z,,\n"
)
BOTH = {"events.csv": EVENTS, "installations.csv": INSTALLED}


@pytest.fixture(autouse=True)
def records():
    """Types, reels and counts are on record, and a machine that takes them."""
    bring_in()
    register.change(builders.make_machine(), types=["w28"], **by_administrator())


def header(file):
    return BOTH[file].splitlines()[0] + "\n"


def test_they_are_stored_whole_in_one_entry_a_reel_and_never_twice():
    before = HistoryEntry.objects.count()
    summary = bring_in(BOTH)
    assert (summary.stored["events.csv"], summary.stored["installations.csv"]) == (3, 2)
    assert HistoryEntry.objects.count() == before + 2
    used = ReelEvent.objects.get(kind="used")
    assert (used.uses, str(used.hours), str(used.length_out_m), used.words, used.ends_count) == (
        3, "1.500", "80.000", "a survey", False,
    )  # fmt: skip
    assert ReelEvent.objects.get(kind="incident").incident == "other"
    assert ReelEvent.objects.get(kind="respooled").recorded_at.isoformat() == "2025-04-02T08:00:00+00:00"
    first = Installation.objects.get(reel__serial="LW-0001")
    assert (first.machine.serial, first.document, first.removed_at is None) == ("RM-7", "WO-3", False)
    again = bring_in(BOTH)
    assert (again.stored, again.already["events.csv"], again.already["installations.csv"]) == (
        {**dict.fromkeys(again.stored, 0)}, 3, 2,
    )  # fmt: skip


@pytest.mark.parametrize(("file", "row", "said"), [
    ("events.csv", "LW-0001,2025-03-02T08:00:00Z,flown,,,,,,", "kind"),
    ("events.csv", "LW-0001,2025-03-02T08:00:00Z,respooled,,,2,,,", "empty, where a reel was re-spooled"),
    ("events.csv", "LW-0001,2025-03-02T08:00:00Z,used,,,,,99999,", "what the drum takes"),
    ("events.csv", "LW-0001,2020-03-02T08:00:00Z,used,,,,,,", "when reel LW-0001 was received"),
    ("events.csv", "LW-0009,2025-03-02T08:00:00Z,used,,,,,,", "a reel of the records or of reels.csv"),
    ("installations.csv", "LW-0001,RM-99,2025-03-01T12:00:00Z,,", "a machine on record that takes reels of type w28"),
    ("installations.csv", "LW-0001,RM-7,2025-03-01T12:00:00Z,2025-02-01T12:00:00Z,", "when it was installed, or later"),
    ("installations.csv", "LW-0001,RM-7,2999-03-01T12:00:00Z,,", "up to now"),
])  # fmt: skip
def test_a_row_that_cannot_be_is_named_and_nothing_is_stored(file, row, said):
    [problem] = refused({file: header(file) + row + "\n"})
    assert said in problem
    assert not ReelEvent.objects.exists()


def test_neither_a_reel_nor_a_machine_is_in_two_places_at_a_time():
    inside, file = "2025-03-05T12:00:00Z,2025-03-06T12:00:00Z,\n", "installations.csv"
    assert "it was in RM-7 from 2025-03-01" in refused({file: INSTALLED + f"LW-0001,RM-7,{inside}"})[0]
    assert "it held LW-0001 from 2025-03-01" in refused({file: INSTALLED + f"LW-0002,RM-7,{inside}"})[0]
    bring_in(BOTH)
    assert "it held LW-0001" in refused({file: header(file) + f"LW-0002,RM-7,{inside}"})[0]


def test_a_machine_takes_only_the_types_that_it_names_from_files_too():
    register.change(builders.make_machine(), types=[], **by_administrator())
    problems = refused({"installations.csv": INSTALLED})
    assert len(problems) == 2
    assert "a machine on record that takes reels of type w28" in problems[0]


def test_what_is_brought_in_ends_counts_and_withdraws_values():
    cast = Cast.as_needed()
    builders.confirm_rules(ReelType.objects.get())
    builders.make_machine("RM-8")
    reel = builders.make_reel("LW-0003")
    builders.signed_count(cast, reel.serial, at=builders.later(days=-9))
    values = builders.issued(cast, reel.serial, "RM-8", at=builders.later(days=-8))
    bring_in({"events.csv": header("events.csv") + "LW-0003,2026-03-01T08:00:00Z,respooled,,,,,,\n"})
    values.refresh_from_db()
    assert values.withdrawn_why == "what happened to it was brought in from older records"
    with pytest.raises(CountLapsed):
        builders.issued(cast, reel.serial, "RM-8")


# Moves ----------------------------------------------------------------------------------------------------------------

MOVES_HEADER = "reel,from_site,to_site,sent_at,received_at,found_sound,document,words\n"
THERE = "LW-0001,Kettle Point,KP2,2025-05-01T08:00:00Z,2025-05-03T08:00:00Z,yes,SN-1,\n"
BACK = "LW-0001,KP2,Kettle Point,2025-06-01T08:00:00Z,2025-06-02T08:00:00Z,no,SN-2,the box was wet\n"


def test_moves_are_stored_with_both_ends_and_never_twice():
    files = {"moves.csv": MOVES_HEADER + BACK + THERE}
    assert bring_in(files).stored["moves.csv"] == 2
    rows: Any = Move.objects.order_by("sent_at")
    first, second = rows
    assert (first.from_site.name, first.received_site.name, first.found_sound) == ("Kettle Point", "KP2", True)
    assert (second.document, second.end_words, second.found_sound) == ("SN-2", "the box was wet", False)
    assert (second.recorded_at, second.end_recorded_at, second.ended_at.isoformat()) == (
        NOW, NOW, "2025-06-02T08:00:00+00:00"
    )  # fmt: skip
    assert not Hold.objects.exists()
    again = bring_in(files)
    assert (again.stored["moves.csv"], again.already["moves.csv"]) == (0, 2)


@pytest.mark.parametrize(("rows", "said"), [
    (THERE, "kettle-point, where the reel is"),
    (THERE.replace("KP2", "Nowhere"), "a site on record, by its code or name"),
    (THERE.replace("KP2", "Kettle Point"), "another site"),
    (THERE.replace("05-03", "04-03") + BACK, "when it was sent"),
    (THERE.replace("2025-05-01", "2023-05-01") + BACK, "when reel LW-0001 was received"),
    (THERE + BACK.replace("2025-06-02", "2999-06-02"), "up to now"),
    (THERE + BACK.replace("2025-06-01", "2025-05-02"), "once the move before had ended"),
    (THERE.replace("yes", ""), "not empty"),
])  # fmt: skip
def test_a_move_that_cannot_be_is_told_by_line(rows, said):
    problems = refused({"moves.csv": MOVES_HEADER + rows})
    assert any(said in each for each in problems)


def test_a_reel_on_its_way_is_in_no_machine():
    installed = header("installations.csv") + "LW-0001,RM-7,2025-05-02T12:00:00Z,2025-05-20T12:00:00Z,\n"
    problems = refused({"installations.csv": installed, "moves.csv": MOVES_HEADER + THERE + BACK})
    assert any("it was in RM-7 from 2025-05-02T12:00:00" in each for each in problems)
