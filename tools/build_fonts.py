"""Build the fonts in ``skeleton/export/engraving/fonts`` from their sources; run by hand, seldom.

Usage::

    python tools/build_fonts.py LIBERATION_FOLDER LEIPZIG_TTF

``LIBERATION_FOLDER`` holds the four ``LiberationSerif-*.ttf`` of Liberation Fonts 2.x (version 1
is under another licence), ``LEIPZIG_TTF`` is the music font Leipzig. Both are under the SIL Open
Font License 1.1; their reserved names must not be used for what is made here, hence the names
"Etude Serif" and "Etude Music". Needs fontTools, which the package itself does not.

What is made is plain on purpose, so that a short module can cut subsets out of it: TrueType
outlines without composites and hints, one advance per character, no kerning and no ligatures.
The width of a text is then the sum of its advances in every program that draws it.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from fontTools import subset
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont, newTable
from fontTools.ttLib.tables._c_m_a_p import CmapSubtable

FONTS = Path(__file__).resolve().parent.parent / "skeleton" / "export" / "engraving" / "fonts"
SERIF_RANGES = (
    (0x20, 0x7E), (0xA0, 0x24F), (0x2C6, 0x2DD), (0x300, 0x30C), (0x327, 0x328), (0x370, 0x3FF),
    (0x400, 0x45F), (0x490, 0x491), (0x1E00, 0x1EFF), (0x2002, 0x200B), (0x2010, 0x2027),
    (0x202F, 0x203A), (0x2044, 0x2044), (0x2070, 0x2089), (0x20AC, 0x20AC), (0x2116, 0x2122),
    (0x2150, 0x215F), (0x2190, 0x2195), (0x2206, 0x2206), (0x2212, 0x2212), (0x221A, 0x221E),
    (0x2248, 0x2248), (0x2260, 0x2265), (0x25A0, 0x25E6), (0x2669, 0x266B), (0xFB01, 0xFB02),
)  # fmt: skip
# Character here: character in Leipzig, and how far up to move it (in thousandths of an em) so
# that it stands on the line of the letters.
SIGNS = {
    0x266D: (0x266D, -56),
    0x266E: (0x266E, 70),
    0x266F: (0x266F, 63),
    0x1D12A: (0xE263, 250),
    0x1D12B: (0xE264, 130),
}
KEPT_TABLES = {"OS/2", "cmap", "glyf", "head", "hhea", "hmtx", "loca", "maxp", "name", "post"}
EPOCH = 3_600_000_000  # seconds since 1904: a fixed date, so that equal input gives equal bytes


def main(arguments: list[str]) -> None:
    """Write the five files."""
    liberation, leipzig_path = Path(arguments[0]), Path(arguments[1])
    leipzig = TTFont(leipzig_path)
    for style in ("Regular", "Bold", "Italic", "BoldItalic"):
        font = TTFont(liberation / f"LiberationSerif-{style}.ttf", recalcTimestamp=False)
        cut(font, [c for low, high in SERIF_RANGES for c in range(low, high + 1)])
        decompose(font)
        for code, (source, lift) in SIGNS.items():
            add_glyph(font, code, leipzig, source, lift)
        finish(font, "Etude Serif", style, FONTS / f"EtudeSerif-{style}.ttf")
    music = TTFont(leipzig_path, recalcTimestamp=False)
    cut(music, sorted(music.getBestCmap()))
    decompose(music)
    finish(music, "Etude Music", "Regular", FONTS / "EtudeMusic-Regular.ttf")


def cut(font: TTFont, codes: list[int]) -> None:
    """Keep these characters and the tables of plain outlines."""
    options = subset.Options(
        hinting=False, layout_features=[], glyph_names=False, notdef_outline=True
    )
    options.drop_tables = other_tables(font)
    subsetter = subset.Subsetter(options)
    subsetter.populate(unicodes=codes)
    subsetter.subset(font)


def other_tables(font: TTFont) -> list[str]:
    """Tables of hints, kerning, signatures and the like."""
    return [tag for tag in font.keys() if tag not in {*KEPT_TABLES, "GlyphOrder"}]  # noqa: SIM118


def decompose(font: TTFont) -> None:
    """Replace glyphs made of other glyphs by their outlines."""
    glyphs = font.getGlyphSet()
    for name in font.getGlyphOrder():
        if font["glyf"][name].isComposite():
            recording = DecomposingRecordingPen(glyphs)
            glyphs[name].draw(recording)
            pen = TTGlyphPen(None)
            recording.replay(pen)
            font["glyf"][name] = pen.glyph()


def add_glyph(font: TTFont, code: int, source: TTFont, source_code: int, lift: int) -> None:
    """Copy a glyph of another font, raised by ``lift`` thousandths of an em."""
    scale = font["head"].unitsPerEm / source["head"].unitsPerEm
    name = f"sign{code:X}"
    source_name = source.getBestCmap()[source_code]
    pen = TTGlyphPen(None)
    source.getGlyphSet()[source_name].draw(
        TransformPen(pen, (scale, 0, 0, scale, 0, round(lift * scale)))
    )
    glyph = pen.glyph()
    order = [*font.getGlyphOrder(), name]
    font.setGlyphOrder(order)
    font["glyf"][name] = glyph
    glyph.recalcBounds(font["glyf"])
    advance = max(source["hmtx"][source_name][0] * scale, glyph.xMax + 28 * scale)
    font["hmtx"][name] = (round(advance), glyph.xMin)
    for table in font["cmap"].tables:
        table.cmap[code] = name


def finish(font: TTFont, family: str, style: str, path: Path) -> None:
    """Rename the font, give it one character map and a fixed date, and write it."""
    mapping = {
        code: name for code, name in font.getBestCmap().items() if name in font.getReverseGlyphMap()
    }
    table: Any = CmapSubtable.newSubtable(12)
    table.platformID, table.platEncID, table.language, table.cmap = 3, 10, 0, mapping
    font["cmap"].tables = [table]
    font["post"].formatType = 3.0
    font["head"].created = font["head"].modified = EPOCH
    names = newTable("name")
    names.names = []
    notice = (
        "Copyright (c) 2010 Google Corporation; (c) 2012 Red Hat, Inc.; "
        "(c) 2014 Etienne Darbellay, Jean-Francois Marti and Laurent Pugin. Modified version."
    )
    plain = style.replace("BoldItalic", "Bold Italic")
    for number, text in (
        (0, notice), (1, family), (2, plain), (4, f"{family} {plain}"),
        (5, "Version 1.000"), (6, f"{family.replace(' ', '')}-{style}"),
        (13, "This Font Software is licensed under the SIL Open Font License, Version 1.1."),
        (14, "https://openfontlicense.org"),
    ):  # fmt: skip
        names.setName(text, number, 3, 1, 0x409)
    font["name"] = names
    for tag in other_tables(font):
        del font[tag]
    font.save(path, reorderTables=True)
    print(path.name, path.stat().st_size, len(mapping))  # noqa: T201


if __name__ == "__main__":
    main(sys.argv[1:])
