"""PNG: read back by pillow."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from skeleton.errors import EngravingError, OptionError
from skeleton.export.engraving.png import png_bytes
from skeleton.export.engraving.typeface import MUSIC, SERIF, text_width

WIDTH_TOLERANCE_PX = 1.0
DARK = 128


def picture(inside: str = "", width_mm: float = 210, height_mm: float = 297) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm}mm" height="{height_mm}mm" '
        f'viewBox="0 0 {width_mm * 10:g} {height_mm * 10:g}" font-family="{SERIF}, Times, serif">'
        f"{inside}</svg>"
    )


def grey(png: bytes) -> Image.Image:
    return Image.open(io.BytesIO(png)).convert("L")


def dark_columns(png: bytes) -> list[int]:
    image = grey(png)
    pixels = image.load()
    return [x for x in range(image.width) if any(pixels[x, y] < DARK for y in range(image.height))]


def test_a4_at_the_default_resolution_on_white_paper():
    image = Image.open(io.BytesIO(png_bytes(picture())))
    # ISO 216: 210 by 297 mm; at 200 pixels per 25.4 mm.
    assert image.size == (1654, 2339)
    assert image.convert("RGBA").getextrema() == ((255, 255),) * 4


@pytest.mark.parametrize(("dpi", "size"), [(72, (595, 842)), (96, (794, 1123))])
def test_size_follows_the_resolution(dpi, size):
    assert Image.open(io.BytesIO(png_bytes(picture(), dpi=dpi))).size == size


def test_a_drawn_rectangle_has_its_size():
    rect = '<rect x="100" y="100" width="254" height="127" fill="black"/>'
    image = grey(png_bytes(picture(rect), dpi=100))
    # 25.4 by 12.7 mm at 100 dpi: 100 by 50 pixels.
    assert sum(image.histogram()[:DARK]) == pytest.approx(100 * 50, rel=0.03)


@pytest.mark.parametrize(
    ("text", "style"),
    [
        ("half step below G♯", {}),
        ("G−½ A♭ B♮ 𝄪", {"bold": True}),
        ("AVAToWe fi ffl", {}),
        ("AV Étude žluťoučký", {"italic": True}),
    ],
)
def test_drawn_text_is_as_wide_as_it_was_measured(text, style):
    # Where the bar after the text stands tells the sum of the advances: kerning and ligatures
    # would move it.
    attributes = "".join(
        (' font-weight="bold"' if style.get("bold") else "",
         ' font-style="italic"' if style.get("italic") else "")
    )  # fmt: skip

    def last_column(content: str) -> int:
        inside = f'<text x="50" y="120" font-size="80"{attributes}>{content}</text>'
        return dark_columns(png_bytes(picture(inside, 150, 20)))[-1]

    px_per_unit = 200 / 254
    expected = text_width(text, 80, **style) * px_per_unit
    assert last_column(f"{text}|") - last_column("|") == pytest.approx(
        expected, abs=WIDTH_TOLERANCE_PX
    )


@pytest.mark.parametrize(("text", "family"), [("♭", SERIF), ("½", SERIF), ("\ueca5", MUSIC)])
def test_signs_are_drawn_from_the_packages_fonts(text, family):
    inside = f'<text x="50" y="150" font-size="100" font-family="{family}">{text}</text>'
    assert len(dark_columns(png_bytes(picture(inside, 40, 20)))) > 5


@pytest.mark.parametrize("text", ["雪", "⚘", "ب"])
def test_other_fonts_of_the_machine_are_not_used(text):
    # No font of the package has these, but common system fonts do: they must come out as the
    # character that no font has.
    def columns(content: str) -> list[int]:
        inside = f'<text x="50" y="150" font-size="100">{content}</text>'
        return dark_columns(png_bytes(picture(inside, 40, 20)))

    assert columns(text) == columns("\U0010fffd")


def test_a_plain_serif_is_the_packages_own():
    def columns(family: str) -> list[int]:
        inside = f'<text x="50" y="150" font-size="100" font-family="{family}">Gm</text>'
        return dark_columns(png_bytes(picture(inside, 40, 20)))

    assert columns("serif") == columns("Nowhere, serif") == columns(SERIF) != []


def test_the_same_bytes_every_time():
    svg = picture('<text x="50" y="150" font-size="100">G−½</text>', 40, 20)
    assert png_bytes(svg) == png_bytes(svg)


@pytest.mark.parametrize("dpi", [0.0, -1.0, 1e9, float("inf"), float("nan")])
def test_a_resolution_that_makes_no_picture_is_refused(dpi):
    with pytest.raises(OptionError, match="dpi") as error:
        png_bytes(picture(), dpi=dpi)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("svg", ["", "<svg/>", picture().replace("</svg>", "<")])
def test_a_damaged_picture_is_refused(svg):
    with pytest.raises(EngravingError) as error:
        png_bytes(svg)
    assert "\n" not in str(error.value)
