"""A page's forms, read as a browser reads them."""

from html.parser import HTMLParser
from typing import Any


class Forms(HTMLParser):
    """The forms of a page, each as the values that a browser would send of it."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: list[dict[str, list[str]]] = []
        self.open: dict[str, list[str]] | None = None
        self.area = self.select = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        about = dict(attrs)
        if tag == "form":
            self.open = {}
            self.forms.append(self.open)
        elif self.open is None:
            return
        elif tag == "input":
            if about.get("type") not in ("checkbox", "radio") or "checked" in about:
                self.put(about.get("name", ""), about.get("value", "on" if about.get("type") == "checkbox" else ""))
        elif tag == "textarea":
            self.area = about["name"]
            self.open[self.area] = [""]
        elif tag == "select":
            self.select = about["name"]
        elif tag == "option" and "selected" in about:
            self.put(self.select, about.get("value", ""))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = None
        elif tag == "textarea":
            self.area = ""

    def handle_data(self, data: str) -> None:
        if self.open is not None and self.area:
            self.open[self.area] = [(self.open[self.area][0] + data).strip()]

    def put(self, name: str, value: str) -> None:
        assert self.open is not None
        self.open.setdefault(name, []).append(value)

    def of_act(self, marks: dict[str, str]) -> dict[str, list[str]]:
        """The first form that has a token and these hidden values."""
        return next(each for each in self.forms if "token" in each and _has(each, marks))

    def hold(self, typed: dict[str, str]) -> bool:
        return any(_has(form, typed) for form in self.forms)


def _has(form: dict[str, list[str]], values: dict[str, str]) -> bool:
    return all(value in form.get(name, []) for name, value in values.items())
