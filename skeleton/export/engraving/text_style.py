"""How texts in the engraver's pictures are styled: bold, slanted, and in which stretches.

Sources: W3C SVG 1.1 (second edition), chapter 10; Verovio 6.4's own style sheet.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import Final

from skeleton.score.tree import Element

_TEXT_TAGS: Final = frozenset(f"{{http://www.w3.org/2000/svg}}{tag}" for tag in ("text", "tspan"))
# Verovio's own style sheet sets these classes bold or slanted.
_BOLD: Final = frozenset({"ending", "fing", "reh", "tempo"})
_ITALIC: Final = frozenset({"dir", "dynam", "mNum"})


def text_face(element: Element) -> tuple[bool, bool]:
    """Whether a text or part of a text is set bold and whether in italics.

    Attributes go before the style sheet here as they do not in CSS: where the engraver sets an
    attribute inside a classed group it does so on a nearer element, which wins.
    """
    bold: bool | None = None
    italic: bool | None = None
    at: Element | None = element
    while at is not None and (bold is None or italic is None):
        weight, slant = at.get("font-weight"), at.get("font-style")
        set_bold, set_italic = _face_of_class(at.get("class"))
        if bold is None:
            bold = weight == "bold" if weight else set_bold or None
        if italic is None:
            italic = slant == "italic" if slant else set_italic or None
        at = at.getparent()
    return bool(bold), bool(italic)


@lru_cache(maxsize=256)
def _face_of_class(named: str | None) -> tuple[bool, bool]:
    """Whether the engraver's style sheet sets an element with these classes bold, and slanted."""
    kinds = frozenset((named or "").split())
    return bool(kinds & _BOLD), bool(kinds & _ITALIC)


def text_runs(text: Element) -> Iterator[tuple[Element, str]]:
    """Each stretch of characters of a ``<text>`` with the element that styles it, in order."""
    if text.tag in _TEXT_TAGS:
        if text.text:
            yield text, text.text
        for child in text:
            yield from text_runs(child)
            if child.tail:
                yield text, child.tail
