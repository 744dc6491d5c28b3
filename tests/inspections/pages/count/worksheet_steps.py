"""How a test keys at the worksheet as a browser would: get the page, fill in its form, send it."""

import re
from html import unescape
from typing import Any

from django.test import Client

PLATE, OPEN_SIDE, SCALES, HAND, GAUGE, CROSSOVER = range(1, 7)  # steps
SEEN: dict[int, dict[str, str]] = {
    PLATE: {"serial": "lw 0001"},
    OPEN_SIDE: {"open_side": "right"},
    SCALES: {"scale_left": "13", "scale_right": "12", "unwind": "right_to_left"},
    HAND: {"hand_wraps": "12"},
    GAUGE: {"gauge_face": "even", "gauge_wraps": "12"},
    CROSSOVER: {"crossover_half": "first"},
}
HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)"')


def form_in(html: str) -> dict[str, Any]:
    """The hidden fields of a step's form."""
    found: dict[str, Any] = {}
    for name, value in HIDDEN.findall(html):
        found.setdefault(name, []).append(unescape(value))
    return found


def page_of(client: Client, address: str) -> str:
    return client.get(address).content.decode()


def send(client: Client, address: str, **values: Any) -> Any:
    return client.post(address, {**form_in(page_of(client, address)), **values})
