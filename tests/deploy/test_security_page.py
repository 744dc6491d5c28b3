"""deploy/handbook/security.md: every test that it names is there, and every number of a limit is the code's."""

import re
from pathlib import Path

from django.conf import settings

from deploy import limits
from inspections.api.import_views import ImportEndpoint
from reels.api.parsing import MOST_BYTES
from reels.services.passwords import OUR_WORDS
from reports.pdf import examination

HOME = Path(__file__).resolve().parents[2]
PAGE = (HOME / "deploy" / "handbook" / "security.md").read_text(encoding="utf-8")


def test_every_test_that_the_page_names_is_there():
    named = re.findall(r"`(tests/[a-z_/]+\.py)(?:::(test_\w+))?`", PAGE)
    assert len(named) > 60
    missing = [
        f"{path}::{name}" for path, name in named
        if not (HOME / path).is_file() or (name and f"def {name}(" not in (HOME / path).read_text(encoding="utf-8"))
    ]  # fmt: skip
    assert missing == []


def test_every_row_of_the_tables_says_whether_it_is_met_and_where():
    asvs = PAGE.partition("## OWASP ASVS")[2].partition("## Electronic")[0]
    rows = [row.split(" | ") for row in re.findall(r"^\| (\d[^\n]*) \|$", asvs, re.M)]
    assert len(rows) > 50
    assert {len(row) for row in rows} == {3}
    assert {row[1] for row in rows} <= {"yes", "no", "in part", "by setting", "the operator's", "the web server's"}
    assert [row[0] for row in rows if row[1] == "yes" and not row[2]] == []


def test_the_limits_are_those_of_the_code():
    bodies = (limits.MOST_BYTES, limits.MOST_BYTES_OF["/api/v1/imports"], MOST_BYTES)
    assert bodies == (21_000_000, 51_000_000, 1_000_000)
    assert (examination.MAX_BYTES, ImportEndpoint.most_body_bytes) == (20_000_000, 50_000_000)
    for said in ("21 MB; 51 MB for imports; 1 MB of JSON", "20 MB, looked at", "50 MB in all"):
        assert said in PAGE
    assert "'OPTIONS': {'min_length': 10}" in repr(settings.AUTH_PASSWORD_VALIDATORS)
    assert all(f'"{word}"' in " ".join(PAGE.split()) for word in OUR_WORDS)
