"""Drawings put into pages. The one place where markup made here is declared safe."""

from django.utils.safestring import SafeString

from reels.domain.drawing import Picture
from reels.domain.svg import svg


def drawn(picture: Picture, name: str) -> SafeString:
    """A drawing as markup for a template; its words were escaped when it was made."""
    return SafeString(svg(picture, name))
