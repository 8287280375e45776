"""Where the ink of a PDF's page stands, as pdfium draws it."""

from __future__ import annotations

from PIL import ImageChops

POINTS_A_MM = 72 / 25.4
SCALE = 2
"""Pixels a point."""


def ink_mm(page) -> tuple[float, float, float, float]:
    """Left, top, right and bottom edge of a page's ink, in mm from its top left corner."""
    picture = page.render(scale=SCALE).to_pil().convert("L")
    ink = ImageChops.invert(picture).point(lambda value: 255 if value > 40 else 0).getbbox()
    assert ink is not None, "an empty page"
    left, top, right, bottom = (edge / SCALE / POINTS_A_MM for edge in ink)
    return left, top, right, bottom
