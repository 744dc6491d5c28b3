"""What a screen reader follows: the structure of a document, and the marked content on its pages that belongs to it.

reportlab has no notion of tagged PDF, so the marks are written between its own drawing operators; pdfa.py turns the
elements into the structure tree. Everything drawn is either part of an element or an artefact (rules, page furniture).
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Union

from reportlab.pdfgen.canvas import Canvas


@dataclass(frozen=True, slots=True)
class MarkedContent:
    """A marked sequence of a page's content: page from 0, and its number on that page (the MCID)."""

    page: int
    number: int


@dataclass(slots=True, eq=False)
class StructureElement:
    """An element of the structure tree, in reading order.

    tag: H1, P, Table …; alt: what a figure shows; scope: "Row" or "Column" of a table's header cell.
    repeats: drawn again at the top of each further page; only the first drawing belongs to the structure.
    """

    tag: str
    alt: str = ""
    scope: str = ""
    repeats: bool = False
    kids: list[Union["StructureElement", MarkedContent]] = field(default_factory=list)

    def add(self, tag: str, **attributes: Any) -> "StructureElement":
        kid = StructureElement(tag, **attributes)
        self.kids.append(kid)
        return kid


class TaggedCanvas(Canvas):  # type: ignore[misc]  # reportlab has no types
    """A canvas that numbers the marked content of each page. marked: by page, the element of each number."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.marked: dict[int, list[StructureElement]] = {}

    def begin(self, element: StructureElement | None) -> None:
        if element is None or (element.repeats and element.kids):
            self._code.append("/Artifact BMC")
            return
        page = self.getPageNumber() - 1
        elements = self.marked.setdefault(page, [])
        element.kids.append(MarkedContent(page, len(elements)))
        self._code.append(f"/{element.tag} <</MCID {len(elements)}>> BDC")
        elements.append(element)

    def end(self) -> None:
        self._code.append("EMC")

    @contextmanager
    def tagged(self, element: StructureElement | None) -> Iterator[None]:
        """What is drawn within belongs to the element; to none: an artefact."""
        self.begin(element)
        yield
        self.end()
