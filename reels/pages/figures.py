"""Drawings put into pages. The one place where markup made here is declared safe."""

import segno
from django.utils.safestring import SafeString

from reels.domain.drawing import Picture
from reels.domain.svg import svg

QUIET = 4  # modules of white around a code


def code_picture(text: str, title: str = "The secret as a code for the device to read") -> SafeString:
    """A QR code of this text, dark on white in every theme. title: plain words of ours."""
    matrix = [list(row) for row in segno.make(text, micro=False, error="m").matrix]
    side = len(matrix) + 2 * QUIET
    dark = "".join(f"M{j + QUIET} {i + QUIET}h1v1h-1z" for i, row in enumerate(matrix) for j, is_dark in enumerate(row)
                   if is_dark)  # fmt: skip
    return SafeString(
        f'<svg class="code" role="img" viewBox="0 0 {side} {side}" shape-rendering="crispEdges">'
        f'<title>{title}</title><path fill="#fff" d="M0 0h{side}v{side}H0z"/>'
        f'<path fill="#000" d="{dark}"/></svg>'
    )


def drawn(picture: Picture, name: str) -> SafeString:
    """A drawing as markup for a template; its words were escaped when it was made."""
    return SafeString(svg(picture, name))
