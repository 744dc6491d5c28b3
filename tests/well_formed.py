"""What is wrong with a page's HTML: tags, ids and references, labels, headings, table headings."""

from collections import Counter
from html.parser import HTMLParser

VOID = {"area", "br", "col", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
POINTS_AT_IDS = ("for", "aria-labelledby", "aria-describedby", "aria-controls")


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: Counter[str] = Counter()
        self.ids: Counter[str] = Counter()
        self.asked: set[str] = set()
        self.faults: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.seen[tag] += "svg" not in self.open  # a drawing has a title of its own
        if tag not in VOID:
            self.open.append(tag)
        if "id" in given:
            self.ids[given["id"]] += 1
        self.asked |= {word for name in POINTS_AT_IDS for word in given.get(name, "").split()}
        self.faults += self._faults(tag, given, len(attrs) - len(given))

    def _faults(self, tag: str, given: dict[str, str], doubled: int) -> list[str]:
        return [
            fault
            for fault, is_so in {
                f"<{tag}> has an attribute twice": doubled > 0,
                f"<{tag}> has style or script in an attribute": any(n == "style" or n.startswith("on") for n in given),
                "<html> without lang": tag == "html" and not given.get("lang"),
                "<th> without scope": tag == "th" and given.get("scope") not in {"row", "col"},
                f"<{tag}> within <p>": "p" in self.open and tag in {"div", "p", "ul", "ol", "dl", "table", "section"}
                and self.open[-1] != "p" and "p" in self.open[:-1],
            }.items()
            if is_so
        ]  # fmt: skip

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> at line {self.getpos()[0]} closes {self.open[-1:] or 'nothing'}")
        else:
            self.open.pop()


def faults_of(html: str) -> list[str]:
    page = _Page()
    page.feed(html)
    page.close()
    doubled = [name for name, number in page.ids.items() if number > 1]
    counts = {tag: page.seen[tag] for tag in ("h1", "main", "title") if page.seen[tag] != 1}
    return [
        *page.faults,
        *(f"<{tag}> is never closed" for tag in page.open),
        *(f"id {name} is there twice" for name in doubled),
        *(f"nothing has the id {name}" for name in page.asked - set(page.ids)),
        *(f"<{tag}> is there {number} times" for tag, number in counts.items()),
        *([] if 'role="status"' in html else ["no status region"]),
        *([] if page.seen["caption"] == page.seen["table"] else ["a table without a caption"]),
    ]
