"""Where the ink of a PDF's page stands, as pdfium draws it."""

from __future__ import annotations

from PIL import ImageChops

POINTS_A_MM = 72 / 25.4
SCALE = 2
"""Pixels a point."""

Box = tuple[float, float, float, float]
"""Left, top, right and bottom edge, in mm from the top left corner of a page."""


def ink_mm(page, within: Box | None = None, scale: int = SCALE) -> Box:
    """Edges of a page's ink, or of what ink is inside a box, found with so many pixels a point."""
    picture = page.render(scale=scale).to_pil().convert("L")
    whole = (0, 0, *picture.size)
    box = whole if within is None else tuple(round(edge * scale * POINTS_A_MM) for edge in within)
    ink = ImageChops.invert(picture.crop(box)).point(lambda value: 255 if value > 40 else 0)
    found = ink.getbbox()
    assert found is not None, "no ink"
    left, top = box[:2]
    edges = (found[0] + left, found[1] + top, found[2] + left, found[3] + top)
    return tuple(edge / scale / POINTS_A_MM for edge in edges)
