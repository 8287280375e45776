"""Lines of text over a page of music, for pictures that are one tall page."""

from __future__ import annotations

from typing import Final

from skeleton.export.engraving.engraver import STAFF_UNITS
from skeleton.export.engraving.svg import SVG, Page, grow
from skeleton.export.engraving.typeface import text_width

MARGIN_MM: Final = 3.0
"""Room at the left of a line for its measure number, which hangs over the clef."""

_SPACE: Final = STAFF_UNITS / 4


def headed(page: Page, lines: tuple[str, ...]) -> Page:
    """Write lines over the music, the first one large; changes the tree, returns the page."""
    height = (2.5 + 2.0 * len(lines)) * _SPACE
    top = page.frame.y - height
    page = grow(page, top=height)
    group = page.root.makeelement(f"{{{SVG}}}g", {"class": "heading"})
    page.root.append(group)
    x = page.frame.x + MARGIN_MM / page.unit_mm
    room = page.frame.width - 2 * MARGIN_MM / page.unit_mm
    for place, line in enumerate(lines):
        size = (2.4 if place == 0 else 1.5) * _SPACE
        width = text_width(line, size, bold=place == 0)
        text = group.makeelement(
            f"{{{SVG}}}text",
            {
                "x": f"{x:.1f}",
                "y": f"{top + (2.4 + 2.0 * place) * _SPACE:.1f}",
                "font-size": f"{min(size, size * room / max(width, 1.0)):.1f}px",
            },
        )
        if place == 0:
            text.set("font-weight", "bold")
        text.text = line
        group.append(text)
    return page
