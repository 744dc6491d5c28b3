"""The pages' own font: what it draws, how large it is, and that its licence lies beside it."""

import ast
from pathlib import Path

import pytest
from django.conf import settings
from fontTools.ttLib import TTFont

HOME = Path(__file__).resolve().parents[2]
FONTS = HOME / "reels" / "static" / "reels" / "fonts"
APPS = ("reels", "inspections", "reports")
LATIN = {*range(0x20, 0x7F), *range(0xA0, 0x180)}  # Basic Latin, Latin-1 and Extended-A: people's names
NOT_IN_NAMES = {0xAD, 0x149}  # the soft hyphen, which is not drawn, and a deprecated n after an apostrophe
# Line ends and tabs; what sets a name apart; and what files from elsewhere are told by, which no page shows.
NEVER_DRAWN = "\n\t\u2068\u2069\r\0\ufeff"
WRITTEN_ON_PAPER_ONLY = HOME / "reports" / "pdf"  # with the fonts that lie there


@pytest.fixture(scope="module")
def font():
    return TTFont(FONTS / "inter.woff2")


def strings_of(path: Path) -> str:
    """Every string of a module but its docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef)
    docstrings = {ast.get_docstring(node, clean=False) for node in ast.walk(tree) if isinstance(node, documented)}
    constants = (node.value for node in ast.walk(tree) if isinstance(node, ast.Constant))
    return "".join(value for value in constants if isinstance(value, str) and value not in docstrings)


def shown() -> dict[str, set[str]]:
    """Every file whose words may come onto a page, and its characters."""
    found = {}
    for app in APPS:
        for path in sorted((HOME / app).rglob("*")):
            if path.suffix in {".html", ".css", ".js", ".svg"}:
                found[str(path)] = set(path.read_text(encoding="utf-8"))
            elif path.suffix == ".py" and WRITTEN_ON_PAPER_ONLY not in path.parents:
                found[str(path)] = set(strings_of(path))
    for path in sorted((HOME / "deploy" / "demo_fleet").glob("*.json")):
        found[str(path)] = set(path.read_text(encoding="utf-8"))
    return found


def test_every_character_of_pages_and_words_is_in_the_font(font):
    drawn = {*map(chr, font.getBestCmap()), *NEVER_DRAWN}
    characters = shown()
    assert set("−°→…“”") <= set().union(*characters.values())
    assert {path: missing for path, each in characters.items() if (missing := each - drawn)} == {}


def test_names_in_latin_letters_and_the_signs_of_the_trade_are_in_the_font(font):
    assert (LATIN | set(map(ord, "–—‘’“”•…→←↑↓−°±×÷·✓≤≥"))) - set(font.getBestCmap()) == NOT_IN_NAMES


def test_it_is_one_variable_font_of_regular_to_bold_with_tabular_figures_and_letters_told_apart(font):
    [axis] = font["fvar"].axes
    features = {record.FeatureTag for record in font["GSUB"].table.FeatureList.FeatureRecord}
    assert (axis.axisTag, axis.minValue, axis.maxValue) == ("wght", 400, 700)
    assert {"tnum", "ss02"} <= features


def test_fonts_are_small_and_their_licence_lies_beside_them():
    assert sum(path.stat().st_size for path in FONTS.glob("*.woff2")) < 120_000
    assert "SIL OPEN FONT LICENSE Version 1.1" in (FONTS / "OFL.txt").read_text(encoding="utf-8")


def test_a_font_comes_from_here_only():
    assert settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]["font-src"] == ["'self'"]
