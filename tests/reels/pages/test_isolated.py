"""Names that are read from the right stay to themselves in a sentence; wherever a template shows one, it says so."""

import re
from pathlib import Path

import pytest
from django.template import engines

from reels.domain.text import turns_what_is_beside_it
from tests import builders
from tests.page_fixtures import logged_in
from tests.well_formed import faults_of

HOME = Path(__file__).resolve().parents[3]
TYPED = (
    "full_name", "host", "reason", "end_reason", "close_reason", "lower_reason", "lift_reason", "removal_reason",
    "retired_reason", "publication_reason", "remark", "withdrawn_why", "site.name", "staff_number", "cable_serial",
    "cable_lot", "row.words", "row.reference",
)  # fmt: skip
SHOWN = re.compile(rf"{{{{ *[\w.]*\b(?:{'|'.join(map(re.escape, TYPED))})\b *(?P<filters>\|[^}}]*)?}}}}")
HEBREW = "\u05d3\u05e0\u05d4"


def is_in_a_sentence(html: str, place: int) -> bool:
    """Whether what stands there is text of the page: no attribute, title or option, which take no markup."""
    before = html[:place]
    if before.rfind("<") > before.rfind(">") or before.rfind("<option") > before.rfind("</option"):
        return False
    return before.rfind("{% block title %}") <= before.rfind("{% endblock %}")


def test_every_template_isolates_what_somebody_typed():
    bare = [
        f"{path.relative_to(HOME)}: {found.group()}"
        for app in ("reels", "inspections", "reports", "deploy")
        for path in (HOME / app).rglob("*.html")
        for html in [path.read_text(encoding="utf-8")]
        for found in SHOWN.finditer(html)
        if is_in_a_sentence(html, found.start()) and "isolated" not in (found["filters"] or "")
    ]
    assert bare == []


@pytest.mark.parametrize(("text", "shown"), [
    ("Tess Hollin", "Tess Hollin"), ("Zoë \u200d", "Zoë \u200d"), (HEBREW, f"<bdi>{HEBREW}</bdi>"),
    ("12 \u0661\u0662", "<bdi>12 \u0661\u0662</bdi>"), ("mark \u200f only", "<bdi>mark \u200f only</bdi>"),
    (f"<b>{HEBREW}", f"<bdi>&lt;b&gt;{HEBREW}</bdi>"), ("<b>", "&lt;b&gt;"),
])  # fmt: skip
def test_what_is_read_from_the_right_is_isolated_and_everything_escaped(text, shown):
    assert engines["django"].from_string("{{ text|isolated }}").render({"text": text}) == shown


def test_letters_from_the_left_digits_and_joiners_turn_nothing():
    assert not any(map(turns_what_is_beside_it, ("", "LW-0001", "Ångström", "ก\u200c")))


@pytest.mark.django_db
def test_a_page_shows_a_name_that_is_read_from_the_right_to_itself():
    person = builders.make_person("dana", full_name=HEBREW)
    html = logged_in(person).get("/account").content.decode()
    assert f"<bdi>{HEBREW}</bdi>" in html
    assert faults_of(html) == []
