"""What a screen reader follows: the structure of a document, and the marks on its pages that belong to it.

reportlab has no notion of tags, so the marks are written between its own drawing operators; archive.py turns the
elements into the structure tree. Everything drawn is either part of an element or an artefact (rules, page furniture).
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Union

from reportlab.pdfgen.canvas import Canvas


@dataclass(frozen=True, slots=True)
class MarkedContent:
    """A marked piece of a page's content: page from 0, and its number on that page."""

    page: int
    number: int


@dataclass(slots=True, eq=False)
class StructureElement:
    """An element of the structure, in reading order.

    tag: H1, P, Table …; alt: what a figure shows; scope: "Row" or "Column" of a table's header cell.
    repeats: drawn again at the top of each further page; only the first drawing belongs to the structure.
    """

    tag: str
    alt: str = ""
    scope: str = ""
    repeats: bool = False
    inside: list[Union["StructureElement", MarkedContent]] = field(default_factory=list)

    def add(self, tag: str, **more: Any) -> "StructureElement":
        """A new element at the end of this one."""
        inner = StructureElement(tag, **more)
        self.inside.append(inner)
        return inner


class TaggedCanvas(Canvas):  # type: ignore[misc]  # reportlab has no types
    """A canvas that counts the marks on each page."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.marked: dict[int, list[StructureElement]] = {}

    def begin(self, element: StructureElement | None) -> None:
        """Begin what belongs to an element, or an artefact."""
        if element is None or (element.repeats and element.inside):
            self._code.append("/Artifact BMC")
            return
        page = self.getPageNumber() - 1
        elements = self.marked.setdefault(page, [])
        element.inside.append(MarkedContent(page, len(elements)))
        self._code.append(f"/{element.tag} <</MCID {len(elements)}>> BDC")
        elements.append(element)

    def end(self) -> None:
        """End what was begun last."""
        self._code.append("EMC")

    @contextmanager
    def tagged(self, element: StructureElement | None) -> Iterator[None]:
        """What is drawn within belongs to the element; to none: an artefact."""
        self.begin(element)
        yield
        self.end()
