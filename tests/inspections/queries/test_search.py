"""Reels found by any part of their names, on both databases and for rare and frequent words alike."""

import pytest
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from inspections import names_index
from inspections.models import ReelStatusRow
from inspections.queries import search
from inspections.queries.search import as_searched, with_word
from inspections.services import counting, maintenance
from reels.services import people, register
from reels.services.history import Actor
from reports.services.verification import check_records
from tests import builders
from tests.builders import Cast, by_administrator, later

pytestmark = pytest.mark.django_db
EVERY = ReelStatusRow.objects.all()


def serials(word):
    return sorted(row.serial for row in with_word(EVERY, word).rows)


def install(serial, machine):
    builders.make_machine(machine)
    actor = Actor(Cast.as_needed().control)
    maintenance.install(serial=serial, machine_serial=machine, actor=actor, at=later(hours=1))


def test_a_reel_is_found_by_any_part_of_its_own_name_its_machine_s_and_its_host_s_whatever_the_case():
    builders.make_reel("LW-0001")
    builders.make_reel("LW-0012")
    install("LW-0012", "RM-7")
    assert serials("w-00") == serials("LW") == ["LW-0001", "LW-0012"]
    assert serials("0012") == serials("m-7") == serials("ERON  3") == serials("n 3") == ["LW-0012"]
    assert serials("lw12") == serials("LW 0012") == serials("lw0012") == serials("Lw_12") == ["LW-0012"]
    assert serials("lw2") == serials("w12") == []
    assert serials("nowhere") == serials("heron 4") == serials("3 r") == []


def test_what_nobody_sees_in_a_name_is_not_searched_for():
    builders.make_reel("LW-0001")
    register.change(builders.make_machine("RM-7"), host="Hero\u200dn 3", **by_administrator())
    actor = Actor(Cast.as_needed().control)
    maintenance.install(serial="LW-0001", machine_serial="RM-7", actor=actor, at=later(hours=1))
    assert serials("heron") == serials("her\u200con") == ["LW-0001"]


def test_one_or_two_characters_are_found_where_a_word_begins_with_them():
    builders.make_reel("LW-0001")
    install("LW-0001", "RM-7")
    assert [serials(word) for word in ("l", "lw", "3", "rm", "h", "w", "01", "ro")] == [["LW-0001"]] * 5 + [[]] * 3


@pytest.mark.parametrize("word", ["%", "_", "w%0", "\\", '"', "'", "l_-", "ß", "lw-0001' or 1=1", "* OR names:l", "😀"])
def test_what_means_something_to_a_database_means_itself(word):
    builders.make_reel("LW-0001")
    assert serials(word) == []


def test_a_person_s_name_finds_the_reels_whose_latest_count_they_signed_and_those_they_count_now():
    cast = Cast.as_needed()
    for serial in ("LW-0001", "LW-0002", "LW-0003"):
        builders.make_reel(serial)
    builders.signed_count(cast, "LW-0001")
    opened = builders.open_count(cast, "LW-0002")
    assert serials("tess holl") == ["LW-0001", "LW-0002"]
    assert serials(cast.verifier.full_name) == ["LW-0001"]
    technician = Actor(cast.technician)
    counting.cancel(inspection_id=opened.pk, reason="another day", actor=technician, at=later(hours=2))
    assert serials("tess holl") == ["LW-0001"]


def test_another_name_of_a_host_or_of_somebody_at_work_is_found_at_once_and_a_signed_name_stays():
    cast = Cast.as_needed()
    for serial in ("LW-0001", "LW-0002"):
        builders.make_reel(serial)
    install("LW-0001", "RM-7")
    builders.signed_count(cast, "LW-0002")
    builders.open_count(cast, "LW-0002", at=later(hours=3))
    register.change(builders.make_machine("RM-7"), host="Osprey 9", **by_administrator())
    people.change_person(cast.technician, full_name="Tess Marlow", **by_administrator())
    assert serials("osprey") == ["LW-0001"]
    assert serials("heron") == []
    assert serials("tess marlow") == serials("tess hollin") == ["LW-0002"]
    assert check_records().broken is None


@pytest.mark.parametrize("few", [0, 1, 2, 3])
def test_the_same_is_found_of_rare_and_of_frequent_words_and_said_is_whether_it_may_be_counted(few, monkeypatch):
    monkeypatch.setattr(search, "FEW", few)
    for number in range(3):
        builders.make_reel(f"LW-000{number}")
    assert serials("lw-") == ["LW-0000", "LW-0001", "LW-0002"]
    assert with_word(EVERY, "lw-").are_few == (few == 3)
    assert with_word(EVERY.filter(serial="LW-0001"), "lw-").are_few == (few >= 1)
    assert with_word(EVERY, "002").are_few == (few >= 1)
    assert serials("002") == ["LW-0002"]


letters = st.text(st.sampled_from("ab1 -é%"), max_size=5)


@given(word=letters, names=st.lists(letters, max_size=6))
def test_what_is_found_is_what_a_plain_look_at_each_word_finds(word, names):
    wanted = word.casefold().split()
    if not wanted:
        return
    text = as_searched(*names)
    padded = "  ".join(wanted).rjust(search.LEAST)
    plainly = any(
        name.casefold().split()[k : k + len(wanted)] and _fits(name.casefold().split()[k : k + len(wanted)], wanted)
        for name in names
        for k in range(len(name.split()))
    )
    assert (padded in text) == plainly


def _fits(words, wanted):
    """The wanted words in turn: the first ends its word and the last begins its own; a short one begins it."""
    if len(words) < len(wanted):
        return False
    if len(wanted) == 1:
        return words[0].startswith(wanted[0]) if len(wanted[0]) < search.LEAST else wanted[0] in words[0]
    return words[0].endswith(wanted[0]) and words[1:-1] == wanted[1:-1] and words[-1].startswith(wanted[-1])


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL keeps its index by itself")
def test_the_index_is_made_again_where_a_trigger_is_gone():
    builders.make_reel("LW-0001")
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {names_index.TABLE}_come")
    builders.make_reel("LW-0002")
    assert serials("w-0002") == []
    names_index.install(connection)
    assert serials("w-0002") == ["LW-0002"]
    builders.make_reel("LW-0003")
    assert serials("w-0003") == ["LW-0003"]


@pytest.mark.skipif(connection.vendor != "sqlite", reason="how SQLite plans a query that it has no figures for")
def test_few_reels_are_read_by_their_ids_and_not_by_their_site():
    builders.make_reel("LW-0001")
    rows = with_word(EVERY.filter(site__in=[1, 2]), "0001").rows
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {rows.query}")
        plan = [step[3] for step in cursor.fetchall()]
    assert plan[0] == "SEARCH reports_standing USING INTEGER PRIMARY KEY (rowid=?)"
    assert not [step for step in plan if "INDEX standing" in step]
