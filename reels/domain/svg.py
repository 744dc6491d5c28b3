"""A drawing as SVG for a page: no inline styles, so that the strictest content security policy shows it.

How shapes look is the stylesheet's matter: `.figure .look-wrap { … }`. Text takes the page's font and colour.
"""

from html import escape
from typing import assert_never

from reels.domain.drawing import Bar, Disc, Picture, Shape, Trace, Words


def svg(picture: Picture, name: str) -> str:
    """The picture as an inline SVG element.

    name: letters, digits and hyphens; unique on its page, for the element's title and description are found by it.
    """
    # What leads somewhere is no image: its links would not be read out.
    role = "group" if any(isinstance(each, Disc) and each.address for each in picture.shapes) else "img"
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="figure" '
        f'viewBox="0 0 {_n(picture.width)} {_n(picture.height)}" '
        f'role="{role}" aria-labelledby="{name}-title {name}-description" font-size="{_n(picture.text_size)}">'
    )
    words = (
        f'<title id="{name}-title">{escape(picture.title)}</title>'
        f'<desc id="{name}-description">{escape(picture.description)}</desc>'
    )
    return head + words + "".join(_element(shape, picture.height) for shape in picture.shapes) + "</svg>"


def _element(shape: Shape, height: float) -> str:
    match shape:
        case Disc():
            place = f'cx="{_n(shape.x)}" cy="{_n(height - shape.y)}" r="{_n(shape.radius)}"'
            circle = f'<circle class="look-{shape.look}" {place}/>'
            if not shape.address:
                return circle
            return f'<a href="{escape(shape.address)}" aria-label="{escape(shape.label)}">{circle}</a>'
        case Bar():
            place = f'x="{_n(shape.x)}" y="{_n(height - shape.y - shape.height)}"'
            size = f'width="{_n(shape.width)}" height="{_n(shape.height)}"'
            return f'<rect class="look-{shape.look}" {place} {size}/>'
        case Trace():
            points = " ".join(f"{_n(x)},{_n(height - y)}" for x, y in shape.points)
            dashes = ' stroke-dasharray="3 2"' if shape.dashed else ""
            kind = "polygon" if shape.closed else "polyline"
            way = "" if shape.closed else " open"
            return f'<{kind} class="look-{shape.look}{way}" points="{points}"{dashes}/>'
        case Words():
            bold = ' font-weight="bold"' if shape.bold else ""
            place = f'x="{_n(shape.x)}" y="{_n(height - shape.y)}" text-anchor="{shape.anchor}"'
            return f'<text class="look-text" {place}{bold}>{escape(shape.text)}</text>'
    assert_never(shape)


def _n(number: float) -> str:
    return f"{number:.2f}".rstrip("0").rstrip(".")
