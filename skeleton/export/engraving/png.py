"""PNG out of a finished SVG: white paper, the package's fonts, the same bytes every time."""

from __future__ import annotations

import math
import re
from typing import Final

from skeleton.errors import EngravingError, OptionError
from skeleton.export.engraving.typeface import FONT_FOLDER, SERIF

DEFAULT_DPI: Final = 200.0
"""Fine enough for beams of sixteenths; an A4 page is 1654 by 2339 pixels."""

_MM_PER_INCH: Final = 25.4
_MOST_PIXELS: Final = 120_000_000  # half a gigabyte while drawing
_SIZE: Final = re.compile(
    r'(?P<start><svg\b[^>]*?)\swidth="(?P<width>[\d.]+)mm"\sheight="(?P<height>[\d.]+)mm"'
)


def png_bytes(svg: str, *, dpi: float = DEFAULT_DPI, background: str = "#ffffff") -> bytes:
    """Draw a picture as PNG.

    Args:
        svg: a picture from ``svg.write``, its size given in millimetres.
        dpi: pixels per inch on paper.
        background: CSS colour of the paper.

    Returns:
        The bytes of a PNG file.

    Raises:
        EngravingError: the picture cannot be drawn.
        OptionError: ``dpi`` makes no picture or one that does not fit into memory.
    """
    size = _SIZE.match(svg)
    if size is None:
        raise EngravingError("the picture does not say its size in millimetres; not drawn")
    if not math.isfinite(dpi):
        raise OptionError(f"{dpi} dpi makes no picture; 200 is usual")
    width, height = (round(float(size[side]) * dpi / _MM_PER_INCH) for side in ("width", "height"))
    if width < 1 or height < 1 or width * height > _MOST_PIXELS:
        raise OptionError(
            f"{dpi:g} dpi gives a picture of {width} by {height} pixels; choose another dpi"
        )
    # In whole pixels beforehand, filled to the edge: resvg would round the size in millimetres
    # and only then scale it, and shrink the width where the height was rounded down.
    whole = f'width="{width}px" height="{height}px" preserveAspectRatio="none"'
    sized = f"{size['start']} {whole}{svg[size.end() :]}"
    import resvg_py  # noqa: PLC0415 - only where a PNG is asked for

    try:
        return bytes(
            resvg_py.svg_to_bytes(
                svg_string=sized,
                background=background,
                skip_system_fonts=True,
                font_dirs=[str(FONT_FOLDER)],
                font_family=SERIF,
                serif_family=SERIF,
            )
        )
    except ValueError as error:
        raise EngravingError(f"the picture cannot be drawn as PNG ({error})") from error
