"""Every way in which a count can come to its signatures gives a document that says so and holds."""

from typing import Any

import pytest

from inspections.domain.words import Decision
from inspections.services import counting
from reels.services.history import Actor
from reports.pdf.examination import examine_here
from reports.services.checking import document_fault
from reports.services.seal import known_fingerprints
from tests import builders
from tests.builders import Cast, later
from tests.reports.documented import committed, documents
from tests.reports.programs import run

pytestmark = pytest.mark.django_db

# Worked examples of the design: 11 full layers and 1 wrap steps down to 10 layers, 27 wraps; 12/12 is flush.
STEPPED_DOWN: dict[str, Any] = {
    "scale_left": 11, "scale_right": 12, "open_side": "left", "unwind": "left_to_right", "hand_wraps": 1,
    "gauge_face": "odd", "gauge_wraps": 1,
}  # fmt: skip
FLUSH: dict[str, Any] = {
    "scale_left": 12, "scale_right": 12, "open_side": "none", "unwind": "left_to_right", "hand_wraps": 27,
    "gauge_face": "odd", "gauge_wraps": 27,
}  # fmt: skip


@pytest.fixture
def cast():
    return Cast.as_needed()


def text_of(inspection, tmp_path):
    [kept] = documents(inspection)
    content = bytes(kept.content)
    assert document_fault(kept, known_fingerprints()) is None
    assert [result.verdict.value for result in examine_here(content).results] == ["holds"] * 3
    path = tmp_path / "record.pdf"
    path.write_bytes(content)
    return " ".join(run("pdftotext", "-layout", path, "-").split())


def read(cast, values: dict[str, Any]):
    inspection = builders.open_count(cast)
    both = [
        counting.OnePersonsValues(person=person, values={"serial": inspection.reel.serial, **values})
        for person in (cast.technician, cast.verifier)
    ]
    return counting.record_reading(
        inspection_id=inspection.pk, technician=both[0], verifier=both[1], actor=Actor(cast.technician), at=builders.NOW
    )  # fmt: skip


IN_DEGREES = {
    **{name: value for name, value in builders.GOOD.items() if name != "crossover_half"},
    "crossover_deg": 200,
}


@pytest.mark.parametrize(
    ("values", "passages"),
    [
        (IN_DEGREES, ["200°", "The crossover is at 200°", "12 layers, 11 wraps (even)"]),
        ({**builders.GOOD, "scale_left": None}, ["left out"]),
        (
            {**builders.GOOD, **STEPPED_DOWN},
            ["10 layers, 27 wraps (even). Unusual: stepped down.", "Full layers, stepped down"],
        ),
        ({**builders.GOOD, **FLUSH}, ["Unusual: flush.", "none"]),
    ],
)
def test_what_was_seen_is_on_the_page(cast, tmp_path, values, passages):
    builders.make_reel()
    with committed():
        inspection = builders.sign_both(cast, read(cast, values))
    text = text_of(inspection, tmp_path)
    assert [each for each in passages if each not in text] == []


def test_a_count_that_was_referred_says_why_and_who_released_it(cast, tmp_path):
    reel_type = builders.make_type("held", unusual="hold", unusual_publication="")
    builders.make_reel(type=reel_type)
    inspection = builders.read(cast, builders.open_count(cast), **STEPPED_DOWN)
    with committed():
        counting.release(
            inspection_id=inspection.pk, decision=Decision.ACCEPT_PROPOSED, reason="seen it myself",
            actor=Actor(cast.releaser), at=builders.NOW,
        )  # fmt: skip
        inspection.refresh_from_db()
        inspection = builders.sign_both(cast, inspection)
    text = text_of(inspection, tmp_path)
    for passages in ("Referred", "10 layers, 27 wraps (even)", "accept proposed", "seen it myself", "Rhea", "Folkes"):
        assert passages in text


def test_a_count_from_paper_shows_both_times(cast, tmp_path):
    builders.make_reel()
    with committed():
        inspection = builders.signed_count(cast, at=later(days=2))
    assert "Counted 2026-03-04 09:00:00 UTC Recorded 2026-03-04 09:00:00 UTC" in text_of(inspection, tmp_path)
    builders.make_reel("LW-0002")
    opened = builders.open_count(cast, "LW-0002", at=later(days=2), done_at=builders.NOW)
    with committed():
        paper = builders.sign_both(cast, builders.read(cast, opened, at=later(days=2)), at=later(days=2))
    assert "Counted 2026-03-02 09:00:00 UTC Recorded 2026-03-04 09:00:00 UTC, LATE, from paper" in text_of(
        paper, tmp_path
    )


def test_readings_that_were_refused_are_shown_with_what_did_not_fit(cast, tmp_path):
    builders.make_reel()
    inspection = builders.read(cast, builders.open_count(cast), open_side="left")
    inspection = builders.read(cast, inspection, verifier={"hand_wraps": 11})
    with committed():
        inspection = builders.sign_both(cast, builders.read(cast, inspection))
    text = text_of(inspection, tmp_path)
    assert "Reading 1: reread" in text
    assert "the open side should be the right; left was keyed" in text
    assert "Reading 3: accepted" in text
