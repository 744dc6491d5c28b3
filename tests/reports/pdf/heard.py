"""What somebody hears who has a document read to them: its tag tree, followed as a screen reader follows it."""

import io
import re
from collections.abc import Iterator
from typing import Any

import pikepdf

_BLOCK = re.compile(rb"begin(bfchar|bfrange)(.*?)endbf", re.S)
_HEX = re.compile(rb"<([0-9A-Fa-f]*)>|(\[)|(\])")


def heard(content: bytes) -> list[tuple[str, str]]:
    """Tag and text of each element that has a text of its own, in the order of the tree; of a figure, what it shows."""
    with pikepdf.open(io.BytesIO(content)) as pdf:
        texts: dict[tuple[int, int], str] = {}
        for page in pdf.pages:
            for number, text in _marked(page):
                key = (page.obj.objgen[0], number)
                texts[key] = texts.get(key, "") + text
        return [(tag, " ".join(text.split())) for tag, text in _elements(pdf.Root.StructTreeRoot, texts)]


def _elements(node: Any, texts: dict[tuple[int, int], str]) -> Iterator[tuple[str, str]]:
    kids = list(node.get("/K", [])) if isinstance(node.get("/K", []), pikepdf.Array) else [node.K]
    own = [texts[each.Pg.objgen[0], int(each.MCID)] for each in kids if "/MCID" in each]
    if "/S" in node and (own or "/Alt" in node):
        yield str(node.S)[1:], str(node.get("/Alt", "")) or "".join(own)
    for each in kids:
        if "/S" in each:
            yield from _elements(each, texts)


def _marked(page: pikepdf.Page) -> Iterator[tuple[int, str]]:
    """The texts within marked content, each with the content's number; ActualText in place of what it covers."""
    fonts = {name: _letters(font) for name, font in page.Resources.get("/Font", {}).items()}
    letters: dict[int, str] = {}
    within: list[tuple[int | None, bool]] = []  # number, and whether its text was said already
    for instruction in pikepdf.parse_content_stream(page):
        operands: Any = instruction.operands
        name = str(instruction.operator)
        if name in ("BDC", "BMC"):
            details: Any = operands[1] if len(operands) > 1 and isinstance(operands[1], pikepdf.Dictionary) else {}
            number, said = within[-1] if within else (None, False)
            number = int(details["/MCID"]) if "/MCID" in details else number
            if number is not None and "/ActualText" in details and not said:
                yield number, str(details["/ActualText"])
            within.append((number, said or "/ActualText" in details))
            if number is not None:
                yield number, ""
        elif name == "EMC":
            within.pop()
        elif name == "Tf":
            letters = fonts[str(operands[0])]
        elif name in ("Tj", "TJ") and within and within[-1][0] is not None and not within[-1][1]:
            pieces = operands[0] if name == "TJ" else [operands[0]]
            strings = (bytes(each) for each in pieces if isinstance(each, pikepdf.String))
            yield within[-1][0], "".join(letters[code] for each in strings for code in each)


def _letters(font: Any) -> dict[int, str]:
    """What each code of a font stands for, by its ToUnicode map."""
    table: dict[int, str] = {}
    for kind, body in _BLOCK.findall(font.ToUnicode.read_bytes()):
        items = _tokens(body)
        if kind == b"bfchar":
            table.update({int(code, 16): _text(to) for code, to in zip(items[::2], items[1::2], strict=True)})
            continue
        while items:
            first, last, to, *items = items
            if to == "[":
                many, items = items[: items.index("]")], items[items.index("]") + 1 :]
                table.update({int(first, 16) + i: _text(each) for i, each in enumerate(many)})
            else:
                start = int(to, 16)
                table.update(
                    {code: chr(start + code - int(first, 16)) for code in range(int(first, 16), int(last, 16) + 1)}
                )
    return table


def _tokens(body: bytes) -> list[str]:
    return [(text or opening or closing).decode() for text, opening, closing in _HEX.findall(body)]


def _text(code: str) -> str:
    return bytes.fromhex(code).decode("utf-16-be")
