from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pytest

from inspections.domain.act_fields import ReceiptFields
from inspections.domain.words import Act
from inspections.errors import ImportRefused
from inspections.models import ImportedCount
from inspections.services import intake, maintenance, moves
from inspections.services.intake import import_records
from reels.domain import ledger
from reels.errors import OnlyAdministrators
from reels.models import CableEvent, Chain, HistoryEntry, Person, Reel, ReelType, Site
from reels.services.history import Actor
from tests import builders
from tests.builders import NOW, Cast

pytestmark = pytest.mark.django_db

TYPES = (
    "code,core_diameter_mm,cable_diameter_mm,wraps_odd_layer,wraps_even_layer,max_layers,layer_rise_mm,anchor_side,"
    "lead_wraps,unusual\nw28,300,10,28,27,20,,left,1,accept\n"
)
REELS = (
    "serial,type,site,received_on,cable_length_m\n"
    "LW-0001,w28,Kettle Point,2024-03-01,420\n"
    "LW-0002,w28,KP2,2024-03-01,\n"
)
COUNTS_HEADER = "reel,counted_at,layers,wraps,counted_by,verified_by,document\n"
COUNTS = COUNTS_HEADER + (
    "LW-0001,2025-06-01T10:00:00+02:00,12,7,Ann Holt,Bo Farr,WO-2\n"
    "LW-0001,2025-03-01T10:00:00Z,12,9,Ann Holt,Bo Farr,WO-1\n"
    "LW-0002,2025-03-01T10:00:00Z,11,0,,,\n"
)
EVENTS_HEADER = "reel,happened_at,kind,length_removed_m,recorded_at,document\n"
EVENTS = EVENTS_HEADER + (
    "LW-0001,2025-04-01T10:00:00Z,cut,2.5,2025-04-02T10:00:00Z,CE-1\nLW-0002,2025-04-01T10:00:00Z,replaced,,,\n"
)
FILES = {"reel_types.csv": TYPES, "reels.csv": REELS, "counts.csv": COUNTS, "cable_events.csv": EVENTS}


def bring_in(files=FILES, *, actor=None, encoding="utf-8", at=NOW, **options):
    opened = {name: lambda content=content: BytesIO(content.encode(encoding)) for name, content in files.items()}
    by = actor or Actor(builders.administrator(), via="command import_records")
    return import_records(files=opened, actor=by, at=at, **options)


def refused(files, **options):
    with pytest.raises(ImportRefused) as caught:
        bring_in({**FILES, **files}, **options)
    assert caught.value.facts["total"] == len(caught.value.facts["problems"])
    return [str(each) for each in caught.value.facts["problems"]]


def stored():
    return {m.__name__: m.objects.count() for m in (Site, ReelType, Reel, ImportedCount, CableEvent, HistoryEntry)}


def test_all_four_files_are_stored_and_told_in_one_entry_a_reel():
    summary = bring_in()
    assert summary.stored == {"reel_types.csv": 1, "reels.csv": 2, "counts.csv": 3, "cable_events.csv": 2}
    assert summary.new_sites == ("kettle-point", "KP2")
    assert list(ImportedCount.objects.filter(reel__serial="LW-0001").values_list("wraps", flat=True)) == [9, 7]
    assert [chain.length for chain in Chain.objects.filter(name__startswith="reel:").order_by("name")] == [1, 1]
    entry = HistoryEntry.objects.get(chain__name="reel:LW-0001")
    content = ledger.read(bytes(entry.content))
    assert content is not None
    assert (entry.act, content["actor"]["via"], len(content["changes"])) == (
        "records_imported",
        "command import_records",
        4,
    )


def test_a_count_is_recorded_on_its_day_and_an_event_when_its_log_says_or_when_it_happened():
    bring_in()
    assert all(count.recorded_at == count.counted_at for count in ImportedCount.objects.all())
    cut, replaced = CableEvent.objects.order_by("reel__serial")
    assert (cut.recorded_at - cut.happened_at, cut.length_removed_m) == (timedelta(days=1), Decimal("2.500"))
    assert replaced.recorded_at == replaced.happened_at


SAID = "w28,300,10,28,27,20,,left,1"
RULES = (
    "scale_line_at,winding_sense,reference_side,arc_from_deg,arc_to_deg,arc_publication,odd_face_mark,"
    "crossover_begins_layer"
)


def with_rules(cells):
    header = FILES["reel_types.csv"].splitlines()[0].removesuffix(",unusual")
    return {"reel_types.csv": f"{header},{RULES}\n{SAID},{cells}\n"}


@pytest.mark.parametrize(
    ("cells", "kept"),
    [
        (
            "forward,counter_clockwise,right,,,,notch,no",
            ("forward", "counter_clockwise", "right", 180, 360, "notch", False),
        ),
        ("aft,,,180,360,,,yes", ("aft", "counter_clockwise", "left", 180, 360, "", True)),
        (",,,10,200,LWS 12-4,,", ("top", "clockwise", "left", 10, 200, "", True)),
    ],
)
def test_a_type_may_say_where_its_line_sits_and_how_it_is_wound(cells, kept):
    stored = [bring_in(with_rules(cells)).stored["reel_types.csv"] for _ in range(2)]
    assert stored == [1, 0]  # the second time it is there already
    row = ReelType.objects.get()
    assert (row.scale_line_at, row.winding_sense, row.reference_side, row.arc_from_deg, row.arc_to_deg,
            row.odd_face_mark, row.crossover_begins_layer) == kept  # fmt: skip


@pytest.mark.parametrize(
    ("cells", "seen"), [("top,clockwise,,180,360,,,", "180 to 360"), (",,,10,200,,,", "10 to 200")]
)
def test_an_arc_that_does_not_go_with_the_winding_sense_needs_its_publication(cells, seen):
    [problem] = refused(with_rules(cells))[:1]
    assert f"column arc_to_deg: '{seen}' was seen" in problem
    assert "0 to 180, wound clockwise; another arc with the publication" in problem


def test_a_type_that_accepts_unusual_counts_says_that_no_publication_was_named():
    bring_in()
    assert ReelType.objects.get().unusual_publication == "not named; accepted in the imported reel_types.csv"


def test_the_same_files_twice_store_nothing_twice():
    bring_in()
    before = stored()
    summary = bring_in()
    assert stored() == before
    assert sum(summary.stored.values()) == 0
    assert sum(summary.already.values()) == 8


def test_a_dry_run_stores_nothing_and_says_what_it_would():
    builders.administrator()
    before = stored()
    summary = bring_in(is_dry_run=True)
    assert (stored(), summary.stored["counts.csv"]) == (before, 3)


def test_part_numbers_may_come_with_a_reel_and_are_held_against_what_is_on_record():
    header = "serial,type,site,received_on,cable_length_m,part_number,cable_part_number,cable_serial\n"
    row = "LW-0001,w28,Kettle Point,2024-03-01,420,LWS-350-2,CB-10,LOT 7\n"
    bring_in({"reel_types.csv": TYPES, "reels.csv": header + row})
    reel = Reel.objects.get()
    assert (reel.part_number, reel.cable_part_number, reel.cable_serial) == ("LWS-350-2", "CB-10", "LOT 7")
    before = stored()
    bring_in({"reels.csv": header + row})
    bring_in({"reels.csv": REELS.rsplit("LW-0002", 1)[0]})  # a file without the columns says nothing of them
    assert stored() == before
    with pytest.raises(ImportRefused) as caught:
        bring_in({"reels.csv": header + row.replace("LOT 7", "LOT 8")})
    assert "cable_serial" in str(caught.value.facts["problems"][0])


def test_files_may_come_one_after_another_and_any_may_be_absent():
    for name, content in FILES.items():
        bring_in({name: content})
    assert (ImportedCount.objects.count(), CableEvent.objects.count()) == (3, 2)
    assert Chain.objects.get(name="reel:LW-0001").length == 3


def test_a_byte_order_mark_is_taken_and_another_encoding_is_named_with_its_place():
    bring_in(encoding="utf-8-sig")
    problems = refused({"counts.csv": COUNTS.replace("Ann Holt", "Änn Holt", 1)}, encoding="latin-1")
    assert problems == [
        "counts.csv, line 2: byte 40 of the line is 0xc4, which is not UTF-8; allowed: text in UTF-8",
    ]
    [problems, *_] = refused({}, encoding="utf-16")
    assert problems == "reel_types.csv, line 1: byte 1 of the line is 0xff, which is not UTF-8; allowed: text in UTF-8"


def test_one_bad_row_keeps_all_out_and_every_one_is_named():
    builders.administrator()
    before = stored()
    problems = refused(
        {
            "counts.csv": COUNTS_HEADER
            + "LW-0009,2025-03-01T10:00:00Z,1,1,,,\n"
            + "LW-0001,2024-02-29T10:00:00Z,1,1,,,\n"
            + "LW-0001,2025-03-01T10:00:00,1,1,,,\n"
            + "LW-0001,2025-03-02T10:00:00Z,21,0,,,\n"
            + "LW-0001,2025-03-03T10:00:00Z,11,28,,,\n"
            + "LW-0001,2027-03-03T10:00:00Z,11,1,,,\n",
            "cable_events.csv": EVENTS_HEADER
            + "LW-0001,2025-03-01T10:00:00Z,cut,NaN,,\n"
            + "LW-0001,2025-03-01T10:00:00Z,cut,-3,,\n"
            + "LW-0001,2025-03-01T10:00:00Z,cut,,,\n"
            + "LW-0001,2025-03-01T10:00:00Z,cut,420.5,,\n"
            + "LW-0001,2025-03-01T10:00:00Z,lost,1,,\n",
        }
    )
    assert stored() == before
    assert [line.split(": ", 1)[0] for line in problems] == [
        "counts.csv, line 2, column reel",
        "counts.csv, line 3, column counted_at",
        "counts.csv, line 4, column counted_at",
        "counts.csv, line 5, column layers",
        "counts.csv, line 6, column wraps",
        "counts.csv, line 7, column counted_at",
        "cable_events.csv, line 2, column length_removed_m",
        "cable_events.csv, line 3, column length_removed_m",
        "cable_events.csv, line 4, column length_removed_m",
        "cable_events.csv, line 5, column length_removed_m",
        "cable_events.csv, line 6, column kind",
    ]
    assert problems[4].endswith("'28' was seen; allowed: 0 to 27 on top of 11 full layers of its type")
    assert problems[9].endswith("'420.500' was seen; allowed: up to 420.000, the cable of LW-0001")


def test_a_count_of_the_day_of_receipt_is_taken_by_the_clock_of_its_place():
    bring_in({**FILES, "counts.csv": COUNTS_HEADER + "LW-0001,2024-03-01T00:30:00+02:00,12,9,,,\n"})
    assert ImportedCount.objects.get().counted_at.day == 29


def test_a_full_drum_is_taken_and_one_wrap_more_is_not():
    bring_in({**FILES, "counts.csv": COUNTS_HEADER + "LW-0001,2025-03-01T00:30:00Z,20,0,,,\n"})
    [problems] = refused({"counts.csv": COUNTS_HEADER + "LW-0001,2025-03-02T00:30:00Z,20,1,,,\n"})
    assert "0 to 0 on top of 20" in problems


def test_a_row_that_repeats_another_is_left_alone_and_one_that_contradicts_is_named():
    again = "LW-0002,2025-03-01T12:00:00+02:00,11,0,,,\n"
    assert bring_in({**FILES, "counts.csv": COUNTS + again}).already["counts.csv"] == 1
    assert refused({"counts.csv": COUNTS + again.replace("11,0", "11,1")}) == [
        "counts.csv, line 5, column wraps: '1' was seen; allowed: 0 as in the records, which this row repeats"
    ]
    assert refused({"reels.csv": REELS.replace("420", "421")}) == [
        "reels.csv, line 2, column cable_length_m: '421.000' was seen; allowed: 420.000 as in the records, which this "
        "row repeats"
    ]
    assert refused({"reel_types.csv": TYPES.replace("left,1", "right,1")}) == [
        "reel_types.csv, line 2, column anchor_side: 'right' was seen; allowed: left as in the records, which this row "
        "repeats"
    ]


def test_contradictions_within_one_file_name_the_earlier_line():
    twice = COUNTS + "LW-0002,2025-03-01T10:00:00Z,11,5,,,\n"
    assert refused({"counts.csv": twice}) == [
        "counts.csv, line 5, column wraps: '5' was seen; allowed: 0 as in line 4, which this row repeats"
    ]


def test_a_cut_entered_a_second_time_on_a_later_day_is_another_entry():
    """Logs have slips of their own, and the drift report weighs them: only the very same row is the same entry."""
    bring_in({**FILES, "cable_events.csv": EVENTS + "LW-0001,2025-04-01T10:00:00Z,cut,2.5,2025-05-02T10:00:00Z,CE-1\n"})
    assert CableEvent.objects.filter(kind="cut").count() == 2


def test_an_entry_that_was_taken_back_is_not_brought_in_again():
    cast = Cast.as_needed()
    builders.make_type()
    builders.make_reel()
    cut = builders.log_cut(cast, metres="2.5")
    maintenance.reverse_cable_event(
        serial="LW-0001", event_id=cut.pk, remark="doubled", actor=Actor(cast.control), at=NOW
    )
    moment = NOW.isoformat()
    summary = bring_in({"cable_events.csv": EVENTS_HEADER + f"LW-0001,{moment},cut,2.5,{moment},\n"})
    assert (summary.stored, summary.already) == ({"cable_events.csv": 0}, {"cable_events.csv": 1})


def test_what_depends_on_a_bad_row_is_not_told_again():
    assert refused({"reels.csv": REELS.replace("2024-03-01,420", "yesterday,420")}) == [
        "reels.csv, line 2, column received_on: 'yesterday' was seen; allowed: a day of the calendar as 2026-03-02"
    ]
    assert refused({"reel_types.csv": TYPES.replace(",10,28", ",400,28")}) == [
        "reel_types.csv, line 2, column core_diameter_mm: '300.0' was seen; allowed: 400 to 100000"
    ]
    [problems] = refused({"reels.csv": REELS.replace("site", "base")})[1:]
    assert problems.startswith("reels.csv, line 1, column site: the column is missing")


def test_a_reel_that_was_sent_elsewhere_since_may_be_brought_in_again():
    bring_in()
    control = builders.make_person("mona", Act.MAINTAIN, site=Site.objects.get(code="kettle-point"))
    there = Actor(builders.make_person("nell", Act.MAINTAIN, site=Site.objects.get(code="KP2")))
    moves.send(serial="LW-0001", site_code="KP2", actor=Actor(control), at=NOW)
    assert sum(bring_in(at=NOW + timedelta(days=1)).stored.values()) == 0
    moves.receive(serial="LW-0001", facts=ReceiptFields(sound=True), actor=there, at=NOW)
    assert sum(bring_in(at=NOW + timedelta(days=1)).stored.values()) == 0


def test_nothing_new_is_brought_in_for_a_retired_reel():
    bring_in()
    control = builders.make_person("mona", Act.MAINTAIN, site=Site.objects.get(code="kettle-point"))
    maintenance.retire(serial="LW-0001", reason="flange bent", actor=Actor(control), at=NOW)
    bring_in(at=NOW + timedelta(days=1))
    [problems] = refused({"counts.csv": COUNTS_HEADER + "LW-0001,2025-08-01T00:00:00Z,11,1,,,\n"})
    assert problems == (
        "counts.csv, line 2, column reel: 'LW-0001' was seen; allowed: a reel in service; LW-0001 was retired on "
        "2026-03-02"
    )


def test_a_cut_that_is_brought_in_withdraws_the_setup_values_in_force():
    cast = Cast.as_needed()
    builders.make_reel()
    builders.signed_count(cast)
    values = builders.issued(cast)
    bring_in({"cable_events.csv": EVENTS_HEADER + "LW-0001,2025-04-01T10:00:00Z,cut,2.5,,\n"})
    values.refresh_from_db()
    assert values.withdrawn_why == "cuts or replacements of its cable were brought in from older records"


def test_thousands_of_counts_of_one_reel_are_told_in_entries_of_a_bearable_size(monkeypatch):
    monkeypatch.setattr("inspections.services.intake.reels.MOST_ROWS_AN_ENTRY", 2)
    many = "".join(f"LW-0001,2025-05-0{day}T10:00:00Z,12,7,,,\n" for day in range(1, 6))
    bring_in({**FILES, "counts.csv": COUNTS_HEADER + many})
    assert Chain.objects.get(name="reel:LW-0001").length == 3
    assert ImportedCount.objects.count() == 5


def test_reading_what_is_on_record_takes_as_many_queries_for_one_reel_as_for_twenty(count_queries):
    def files(first, last):
        serials = [f"LW-{n:04}" for n in range(first, last)]
        header = REELS.splitlines()[0] + "\n"
        reels = "".join(f"{serial},w28,KP2,2024-03-01,\n" for serial in serials)
        counts = "".join(f"{serial},2025-03-01T10:00:00Z,11,0,,,\n" for serial in serials)
        return {"reel_types.csv": TYPES, "reels.csv": header + reels, "counts.csv": COUNTS_HEADER + counts}

    bring_in(files(1, 41))
    one, twenty = (count_queries(lambda last=last: bring_in(files(1, last))) for last in (2, 21))
    assert one == twenty


def test_only_an_administrator_brings_records_in():
    with pytest.raises(OnlyAdministrators):
        bring_in(actor=Actor(builders.make_person("noel")))


def test_an_installation_without_people_gets_one_who_never_logs_in():
    bring_in(actor=Actor(intake.importer(None, builders.NOW), via=intake.VIA))
    person = Person.objects.get()
    assert (person.username, person.has_usable_password(), person.is_staff) == ("import", False, True)
    assert intake.importer(None, builders.NOW) == person


def test_a_count_keeps_the_publication_that_its_paper_names_as_words():
    """History: nobody compares it with the register."""
    counts = COUNTS_HEADER.replace("document\n", "document,publication,revision\n")
    rows = "LW-0001,2025-03-01T10:00:00Z,12,9,,,,LWS 12-3,B\nLW-0002,2025-03-01T10:00:00Z,11,0,,,,,\n"
    bring_in({**FILES, "counts.csv": counts + rows})
    kept = ImportedCount.objects.order_by("reel__serial").values_list("publication", "revision")
    assert list(kept) == [("LWS 12-3", "B"), ("", "")]
    again = bring_in({**FILES, "counts.csv": counts + rows})
    assert (again.stored.get("counts.csv", 0), again.already["counts.csv"]) == (0, 2)
