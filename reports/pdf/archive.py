"""From pages to an archival file: PDF/A-3b with the record attached, tagged, the same bytes every time.

The file is a PDF/A-3b candidate, checked with pikepdf's validator each time it is written; part 1b (the same pages,
nothing attached) exists so that a second, independent validator can look at them. No certified validator has seen it.
"""

import io
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Literal
from xml.sax.saxutils import escape

import pikepdf
from pikepdf import Array, Dictionary, Name, String

from reports.pdf.document import LANGUAGE, PRODUCER, TaggedPages
from reports.pdf.fonts import colour_profile
from reports.pdf.tags import MarkedContent, StructureElement

Part = Literal["1b", "3b"]
XMP = """<?xpacket begin="\N{ZERO WIDTH NO-BREAK SPACE}" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/"><pdfaid:part>{part}</pdfaid:part><pdfaid:conformance>B</pdfaid:conformance></rdf:Description>
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:format>application/pdf</dc:format>
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:creator><rdf:Seq><rdf:li>{author}</rdf:li></rdf:Seq></dc:creator>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{subject}</rdf:li></rdf:Alt></dc:description></rdf:Description>
<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/"><xmp:CreatorTool>{author}</xmp:CreatorTool><xmp:CreateDate>{at}</xmp:CreateDate><xmp:ModifyDate>{at}</xmp:ModifyDate></rdf:Description>
<rdf:Description rdf:about="" xmlns:pdf="http://ns.adobe.com/pdf/1.3/"><pdf:Producer>{author}</pdf:Producer></rdf:Description>
</rdf:RDF></x:xmpmeta>
<?xpacket end="r"?>"""  # whitespace would count


def archived(laid: TaggedPages, *, at: datetime, attachments: Mapping[str, bytes], part: Part = "3b") -> bytes:
    """The file that is kept: PDF/A, tagged, with the attachments (JSON, by name; none in part 1b).

    at: when it was drawn up; the only time in the file. The same input gives the same bytes.
    Raises pikepdf.pdfa.PdfaError when the validator does not pass it.
    """
    with pikepdf.open(io.BytesIO(laid.content)) as pdf:
        for page in pdf.pages:
            if Name.Trans in page.obj:  # reportlab writes an empty one
                del page.obj[Name.Trans]
        pdf.Root.Lang = String(LANGUAGE)
        pdf.Root.ViewerPreferences = Dictionary(DisplayDocTitle=True)
        _describe(pdf, at, part)
        _name_colours(pdf)
        _tag(pdf, laid)
        if part == "3b" and attachments:
            _attach(pdf, attachments, at)
        out = io.BytesIO()
        pikepdf.pdfa.save(pdf, out, part, repair=False, deterministic_id=True)
    return out.getvalue()


def _describe(pdf: pikepdf.Pdf, at: datetime, part: Part) -> None:
    """Information dictionary and metadata, which must say the same."""
    stamp = String(at.astimezone(UTC).strftime("D:%Y%m%d%H%M%S+00'00'"))
    info = pdf.docinfo
    title, subject = str(info["/Title"]), str(info["/Subject"])
    for name in list(info.keys()):
        del info[name]
    for name, value in {
        "/Title": String(title), "/Subject": String(subject), "/Author": String(PRODUCER), "/Creator": String(PRODUCER),
        "/Producer": String(PRODUCER), "/CreationDate": stamp, "/ModDate": stamp,
    }.items():  # fmt: skip
        info[name] = value
    iso = at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S+00:00")
    texts = {"title": title, "subject": subject, "author": PRODUCER}
    xmp = XMP.format(part=part[0], at=iso, **{name: escape(text) for name, text in texts.items()})
    pdf.Root.Metadata = pdf.make_stream(xmp.encode(), Type=Name.Metadata, Subtype=Name.XML)


def _name_colours(pdf: pikepdf.Pdf) -> None:
    profile = pdf.make_stream(colour_profile(), N=3, Alternate=Name.DeviceRGB)
    name = String("sRGB IEC61966-2.1")
    intent = Dictionary(
        Type=Name.OutputIntent, S=Name.GTS_PDFA1, OutputConditionIdentifier=name, Info=name, DestOutputProfile=profile
    )
    pdf.Root.OutputIntents = Array([pdf.make_indirect(intent)])


def _attach(pdf: pikepdf.Pdf, attachments: Mapping[str, bytes], at: datetime) -> None:
    stamp = String(at.astimezone(UTC).strftime("D:%Y%m%d%H%M%S+00'00'"))
    names, files = [], []
    for name, content in sorted(attachments.items()):
        stream = pdf.make_stream(
            content,
            Type=Name.EmbeddedFile,
            Subtype=Name("/application/json"),
            Params=Dictionary(Size=len(content), ModDate=stamp),
        )
        described = Dictionary(
            Type=Name.Filespec, F=String(name), UF=String(name), Desc=String("What this document was made from"),
            AFRelationship=Name.Source, EF=Dictionary(F=stream, UF=stream),
        )  # fmt: skip
        files.append(pdf.make_indirect(described))
        names += [String(name), files[-1]]
    pdf.Root.Names = Dictionary(EmbeddedFiles=Dictionary(Names=Array(names)))
    pdf.Root.AF = Array(files)


# Structure ----------------------------------------------------------------------------------------------------------


def _tag(pdf: pikepdf.Pdf, laid: TaggedPages) -> None:
    tree = pdf.make_indirect(Dictionary(Type=Name.StructTreeRoot))
    made: dict[StructureElement, Any] = {}
    tree.K = Array([_element(pdf, laid.root, tree, made)])
    numbers: list[Any] = []
    for number, page in enumerate(pdf.pages):
        page.obj.StructParents = number
        numbers += [number, pdf.make_indirect(Array([made[each] for each in laid.marked.get(number, [])]))]
    tree.ParentTree = pdf.make_indirect(Dictionary(Nums=Array(numbers)))
    tree.ParentTreeNextKey = len(pdf.pages)
    pdf.Root.StructTreeRoot = tree
    pdf.Root.MarkInfo = Dictionary(Marked=True)


def _element(pdf: pikepdf.Pdf, element: StructureElement, parent: Any, made: dict[StructureElement, Any]) -> Any:
    node = pdf.make_indirect(Dictionary(Type=Name.StructElem, S=Name("/" + element.tag), P=parent))
    made[element] = node
    if element.alt:
        node.Alt = String(element.alt)
    if element.scope:
        node.A = Dictionary(O=Name.Table, Scope=Name("/" + element.scope))
    node.K = Array([_kid(pdf, each, node, made) for each in element.inside])
    return node


def _kid(pdf: pikepdf.Pdf, each: StructureElement | MarkedContent, node: Any, made: dict[StructureElement, Any]) -> Any:
    if isinstance(each, StructureElement):
        return _element(pdf, each, node, made)
    return Dictionary(Type=Name.MCR, Pg=pdf.pages[each.page].obj, MCID=each.number)
