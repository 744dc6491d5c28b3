"""README, DEVELOPERS and the handbook: their links lead somewhere, and they name what there is."""

import re

import pytest
from django.conf import settings

from inspections.domain.words import Act, InspectionState, ReelStatus

HANDBOOK = settings.HOME / "deploy" / "handbook"
DOCUMENTS = [settings.HOME / "README.md", settings.HOME / "DEVELOPERS.md", *sorted(HANDBOOK.rglob("*.md"))]


def text(name):
    return (settings.HOME / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_every_link_within_the_house_leads_somewhere(document):
    links = re.findall(r"\]\(([^)#:]+)\)", document.read_text(encoding="utf-8"))
    assert [link for link in links if not (document.parent / link).exists()] == []


def test_every_decision_has_a_day_a_reason_and_what_would_prove_it_wrong_and_is_in_the_list():
    decisions = sorted((HANDBOOK / "decisions").glob("*.md"))
    assert [path.name[:4] for path in decisions] == [f"{number:04}" for number in range(1, len(decisions) + 1)]
    for path in decisions:
        said = path.read_text(encoding="utf-8")
        assert re.search(r"^\*Accepted, 20\d\d-\d\d-\d\d\*$", said, re.MULTILINE)
        assert all(part in said for part in ("**Why it came up.**", "**Choice.**", "**What we gave up.**"))
        assert "**We would know it was wrong** if" in said
        assert f"(deploy/handbook/decisions/{path.name})" in text("DEVELOPERS.md")


@pytest.mark.parametrize("word", [*ReelStatus, *InspectionState, *Act])
def test_the_glossary_has_the_word(word):
    assert f"`{word}`" in text("DEVELOPERS.md")


def test_every_setting_that_is_read_is_in_the_table():
    code = text("deploy/settings.py") + text("deploy/configuration.py")
    read = set(re.findall(r"env(?:iron)?(?:\.get\(|\[)\"([A-Z_]+)\"", code))
    assert len(read) > 8
    assert [name for name in sorted(read) if f"`{name}`" not in text("deploy/handbook/operations.md")] == []


def test_readme_shows_each_part_of_the_demo_once():
    readme = (settings.HOME / "README.md").read_text(encoding="utf-8")
    assert sorted(re.findall(r"^(\d)\. .*\n-+$", readme, re.MULTILINE)) == list("1234567")
