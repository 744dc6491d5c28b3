"""One scale: every size of letters and every space in the style sheets is one of those that the first of them names."""

import re
from pathlib import Path

import pytest

HOME = Path(__file__).resolve().parents[2]
SHEETS = sorted(path for path in HOME.glob("*/static/**/*.css") if path.name not in ("admin.css", "font.css"))
SIZED = re.compile(r"(?<![\w-])((?:margin|padding)(?:-[a-z]+)*|(?:row-|column-)?gap|font(?:-size)?)\s*:\s*([^;{}]+)")
# None, what is there already, or so much of what is named; after a stroke, a height of lines.
ALLOWED = re.compile(
    r"var\(--[\w-]+\)(?:/[\d.]+)?|calc\(-1 \* var\(--[\w-]+\)\)|\b0\b|\bauto\b|\binherit\b|!important|\s"
)
NAMED = re.compile(r"(--[\w-]+)\s*:")


def text_of(path: Path) -> str:
    return re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)


def raw_sizes(css: str) -> list[str]:
    return [match.group(0).strip() for match in SIZED.finditer(css) if ALLOWED.sub("", match.group(2))]


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.name)
def test_every_size_and_every_space_is_of_the_scale(path):
    assert raw_sizes(text_of(path)) == []


@pytest.mark.parametrize("raw", ["margin: 3px 0", "font-size: 1.1em", "gap: 0 0.3rem", "font: 1rem/1.5 var(--text)"])
def test_a_raw_one_is_found(raw):
    assert raw_sizes(f"p {{ color: red; {raw}; }}") == [raw]


def test_what_is_used_is_named_and_what_is_named_is_used():
    whole = "".join(map(text_of, SHEETS))
    assert set(re.findall(r"var\((--[\w-]+)\)", whole)) == set(NAMED.findall(whole))
