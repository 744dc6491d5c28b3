"""From pages to an archival file: PDF/A-3b with the record attached, tagged, the same bytes every time.

The file is a PDF/A-3b candidate, checked with pikepdf's validator each time it is written; part 1b (the same pages,
nothing attached) exists so that a second, independent validator can look at them. No certified validator has seen it.
"""

import io
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Literal

import pikepdf
from pikepdf import Array, AttachedFileSpec, Dictionary, Name, String

from reports.pdf.document import LANGUAGE, PRODUCER, HeaderAndFooter, TaggedPages, lay_out
from reports.pdf.fonts import colour_profile
from reports.pdf.story import Story
from reports.pdf.tags import MarkedContent, StructureElement

Part = Literal["1b", "3b"]


def write_pdfa(pages: TaggedPages, *, at: datetime, attachments: Mapping[str, bytes], part: Part = "3b") -> bytes:
    """The file that is kept: PDF/A, tagged, with the attachments (JSON, by name; none in part 1b).

    at: when it was drawn up; the only time in the file. The same input gives the same bytes.
    Raises pikepdf.pdfa.PdfaError when the validator does not pass it.
    """
    stamp = at.astimezone(UTC).strftime("D:%Y%m%d%H%M%S+00'00'")
    with pikepdf.open(io.BytesIO(pages.content)) as pdf:
        for page in pdf.pages:
            if Name.Trans in page.obj:  # reportlab writes an empty page transition, which PDF/A-1 does not allow
                del page.obj[Name.Trans]
            if part == "3b":  # PDF 1.4, which part 1 is of, does not know it
                page.obj.Tabs = Name.S  # the seal's field is come to in the order of the structure
        pdf.Root.Lang = String(LANGUAGE)
        pdf.Root.ViewerPreferences = Dictionary(DisplayDocTitle=True)
        for name in ("/Author", "/Creator", "/Producer"):
            pdf.docinfo[name] = String(PRODUCER)
        for name in ("/CreationDate", "/ModDate"):  # reportlab's invariant mode writes the year 2000
            pdf.docinfo[name] = String(stamp)
        _write_structure_tree(pdf, pages)
        for name, content in sorted(attachments.items()) if part == "3b" else ():
            pdf.attachments[name] = AttachedFileSpec(
                pdf, content, filename=name, description="What this document was made from", relationship=Name.Source,
                mime_type="application/json", creation_date=stamp, mod_date=stamp,
            )  # fmt: skip
        pikepdf.pdfa.prepare(pdf, part, output_intent=colour_profile())
        with pdf.open_metadata(set_pikepdf_as_editor=False) as metadata:
            del metadata["xmp:MetadataDate"]  # the clock's time, which would differ from run to run
        out = io.BytesIO()
        pikepdf.pdfa.save(pdf, out, part, repair=False, deterministic_id=True)
    return out.getvalue()


def write_sheet(
    story: Story,
    title: str,
    footer: tuple[str, ...],
    *,
    at: datetime,
    subject: str = "",
    band: str = "",
    qr_text: str = "",
) -> bytes:
    """The file of a document that is drawn up on demand and not kept: nothing attached. subject: of the footer.

    band: on top of every page; qr_text: of the code in each foot.
    """
    around = HeaderAndFooter(header=(title, ""), footer=footer, band=band, qr_text=qr_text)
    return write_pdfa(lay_out(story, around, title=title, subject=subject or footer[0]), at=at, attachments={})


def _write_structure_tree(pdf: pikepdf.Pdf, pages: TaggedPages) -> None:
    """The structure tree, and the parent tree by which a reader goes from a page's marked content back to it."""
    tree = pdf.make_indirect(Dictionary(Type=Name.StructTreeRoot))
    nodes: dict[StructureElement, Any] = {}
    tree.K = Array([_structure_node(pdf, pages.root, tree, nodes)])
    numbers: list[Any] = []
    for number, page in enumerate(pdf.pages):
        page.obj.StructParents = number
        numbers += [number, pdf.make_indirect(Array([nodes[each] for each in pages.marked.get(number, [])]))]
    tree.ParentTree = pdf.make_indirect(Dictionary(Nums=Array(numbers)))
    tree.ParentTreeNextKey = len(pdf.pages)
    pdf.Root.StructTreeRoot = tree
    pdf.Root.MarkInfo = Dictionary(Marked=True)


def _structure_node(
    pdf: pikepdf.Pdf, element: StructureElement, parent: Any, nodes: dict[StructureElement, Any]
) -> Any:
    node = pdf.make_indirect(Dictionary(Type=Name.StructElem, S=Name("/" + element.tag), P=parent))
    nodes[element] = node
    if element.alt:
        node.Alt = String(element.alt)
    if element.scope:
        node.A = Dictionary(O=Name.Table, Scope=Name("/" + element.scope))
    node.K = Array([
        Dictionary(Type=Name.MCR, Pg=pdf.pages[kid.page].obj, MCID=kid.number) if isinstance(kid, MarkedContent)
        else _structure_node(pdf, kid, node, nodes)
        for kid in element.kids
    ])  # fmt: skip
    return node
