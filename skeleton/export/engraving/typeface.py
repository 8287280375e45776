"""The fonts of this package: measuring text with them and cutting subsets out of them.

A picture that names "Times" looks different on every machine, and a label placed by one font's
widths runs into its neighbour in another. So every text in a picture is set in a font that comes
with this package and, in an SVG, inside the picture: cut down to the characters used, a few
kilobytes. "Etude Serif" has the metrics of Times and holds the musical signs ♭ ♮ ♯ 𝄪 𝄫 as
well; "Etude Music" holds the symbols of SMuFL that stand in texts, such as the note of a
metronome mark. Both are under the SIL Open Font License, see ``fonts/OFL.txt``.

The files were made for this module (``tools/build_fonts.py``): outlines without composites, no
hints, no kerning, no ligatures. So a subset is the chosen outlines copied, and the width of a
text is the sum of its advances in whatever program draws it.

Sources: OpenType specification 1.9 for the tables (``head``, ``hhea``, ``maxp``, ``hmtx``,
``loca``, ``glyf``, ``cmap`` formats 4 and 12), W3C "WOFF File Format 1.0" for the wrapping.
"""

from __future__ import annotations

import struct
import zlib
from base64 import b64encode
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

FONT_FOLDER: Final = Path(__file__).parent / "fonts"
SERIF: Final = "Etude Serif"
MUSIC: Final = "Etude Music"
FALLBACK: Final = "Times, serif"

_TABLES: Final = ("OS/2", "cmap", "glyf", "head", "hhea", "hmtx", "loca", "maxp", "name", "post")
_WHOLE_FILE_SUM: Final = 0xB1B0AFBA  # OpenType, head.checkSumAdjustment
_PRIVATE_USE: Final = range(0xE000, 0xF900)


@dataclass(frozen=True, slots=True)
class Face:
    """One font file. ``weight`` and ``style`` are CSS words; ``file`` is the name of the file."""

    family: str
    weight: str
    style: str
    file: str

    @property
    def path(self) -> Path:
        """Where the file is."""
        return FONT_FOLDER / self.file


REGULAR: Final = Face(SERIF, "400", "normal", "EtudeSerif-Regular.ttf")
BOLD: Final = Face(SERIF, "700", "normal", "EtudeSerif-Bold.ttf")
ITALIC: Final = Face(SERIF, "400", "italic", "EtudeSerif-Italic.ttf")
BOLD_ITALIC: Final = Face(SERIF, "700", "italic", "EtudeSerif-BoldItalic.ttf")
# One weight serves for all: a browser must not thicken musical symbols.
SYMBOLS: Final = Face(MUSIC, "400 700", "normal", "EtudeMusic-Regular.ttf")
FACES: Final = (REGULAR, BOLD, ITALIC, BOLD_ITALIC, SYMBOLS)


@dataclass(frozen=True, slots=True)
class Metrics:
    """Heights of a face in parts of the font size, positive upward; ``descent`` is negative."""

    ascent: float
    descent: float
    cap_height: float


@dataclass(frozen=True, slots=True)
class _Font:
    units_per_em: int
    tables: Mapping[str, bytes]
    glyphs: Mapping[int, int]  # character code -> glyph number
    advances: tuple[int, ...]  # by glyph number, in font units
    bearings: tuple[int, ...]
    offsets: tuple[int, ...]  # into glyf, by glyph number, one more than there are glyphs


def face_for(*, bold: bool = False, italic: bool = False) -> Face:
    """Return the text face of that weight and slant."""
    if bold:
        return BOLD_ITALIC if italic else BOLD
    return ITALIC if italic else REGULAR


def is_symbol(character: str) -> bool:
    """Whether a character is a musical symbol of SMuFL (private use area of Unicode)."""
    return ord(character) in _PRIVATE_USE


def text_width(text: str, size: float, *, bold: bool = False, italic: bool = False) -> float:
    """Width of a text on one line.

    Args:
        text: what is written; symbols of SMuFL are measured in the music font.
        size: font size, in any unit.
        bold: set in bold.
        italic: set in italics.

    Returns:
        The sum of the advances, in the unit of ``size``. A character that the font lacks counts
        one em: whatever font a program falls back to, few characters are wider.
    """
    return _ems(text, bold, italic) * size


def text_reach(
    text: str, size: float, *, bold: bool = False, italic: bool = False
) -> tuple[float, float]:
    """How far the ink of a text reaches above and below its baseline.

    Args:
        text: what is written.
        size: font size, in any unit.
        bold: set in bold.
        italic: set in italics.

    Returns:
        Highest and lowest point in the unit of ``size``, positive upward; (0, 0) where there is
        no ink. A character that the font lacks counts as tall and low as the font goes.
    """
    top, low = _reach_ems(text, bold, italic)
    return top * size, low * size


@lru_cache(maxsize=4096)  # the same few labels stand under hundreds of notes
def _ems(text: str, bold: bool, italic: bool) -> float:
    face = face_for(bold=bold, italic=italic)
    width = 0.0
    for character in text:
        font = _load(SYMBOLS if is_symbol(character) else face)
        glyph = font.glyphs.get(ord(character))
        width += 1.0 if glyph is None else font.advances[glyph] / font.units_per_em
    return width


@lru_cache(maxsize=4096)
def _reach_ems(text: str, bold: bool, italic: bool) -> tuple[float, float]:
    face = face_for(bold=bold, italic=italic)
    tops: list[float] = []
    lows: list[float] = []
    for character in text:
        font = _load(SYMBOLS if is_symbol(character) else face)
        glyph = font.glyphs.get(ord(character))
        if glyph is None:
            heights = metrics(face)
            tops.append(heights.ascent)
            lows.append(heights.descent)
        elif font.offsets[glyph] != font.offsets[glyph + 1]:  # a blank has no outline
            low, _, top = struct.unpack_from(">hhh", font.tables["glyf"], font.offsets[glyph] + 4)
            tops.append(top / font.units_per_em)
            lows.append(low / font.units_per_em)
    return (max(tops), min(lows)) if lows else (0.0, 0.0)


def missing_characters(text: str, face: Face = REGULAR) -> frozenset[str]:
    """Characters of a text that a face cannot draw (the reader's own fonts then have to)."""
    known = _load(face).glyphs
    return frozenset(c for c in text if ord(c) not in known)


def metrics(face: Face = REGULAR) -> Metrics:
    """Return the heights of a face."""
    font = _load(face)
    ascent, descent = struct.unpack_from(">hh", font.tables["hhea"], 4)
    (cap_height,) = struct.unpack_from(">h", font.tables["OS/2"], 88)
    em = font.units_per_em
    return Metrics(ascent / em, descent / em, cap_height / em)


def font_files() -> tuple[str, ...]:
    """Paths of all font files, for programs that load fonts from files."""
    return tuple(str(face.path) for face in FACES)


def font_face_css(used: Mapping[Face, Iterable[str]]) -> str:
    """CSS ``@font-face`` rules that carry the used characters of each face with them.

    Args:
        used: for every face the characters set in it. Characters it lacks are left out.

    Returns:
        The rules, in the order of :data:`FACES`; empty where nothing is used.
    """
    rules = []
    for face in FACES:
        characters = frozenset(used.get(face, ())) - missing_characters(
            "".join(used.get(face, ())), face
        )
        if characters:
            data = b64encode(subset_woff(face, characters)).decode("ascii")
            rules.append(
                f'@font-face{{font-family:"{face.family}";font-weight:{face.weight};'
                f"font-style:{face.style};src:url(data:font/woff;base64,{data})"
                ' format("woff")}'
            )
    return "".join(rules)


@lru_cache(maxsize=64)
def subset_woff(face: Face, characters: frozenset[str]) -> bytes:
    """Cut a face down to some characters.

    Args:
        face: where to take them from.
        characters: which; those the face lacks are ignored.

    Returns:
        A WOFF 1.0 file. The same characters give the same bytes.
    """
    font = _load(face)
    codes = sorted(code for code in map(ord, characters) if code in font.glyphs)
    kept = [0, *sorted({font.glyphs[code] for code in codes})]
    number = {glyph: at for at, glyph in enumerate(kept)}
    glyf, offsets = bytearray(), [0]
    for glyph in kept:
        outline = font.tables["glyf"][font.offsets[glyph] : font.offsets[glyph + 1]]
        glyf += outline + bytes(-len(outline) % 4)
        offsets.append(len(glyf))
    tables = dict(font.tables)
    tables["glyf"] = bytes(glyf)
    tables["loca"] = struct.pack(f">{len(offsets)}I", *offsets)
    tables["hmtx"] = b"".join(
        struct.pack(">Hh", font.advances[glyph], font.bearings[glyph]) for glyph in kept
    )
    tables["cmap"] = _cmap([(code, number[font.glyphs[code]]) for code in codes])
    tables["hhea"] = tables["hhea"][:34] + struct.pack(">H", len(kept))
    tables["maxp"] = tables["maxp"][:4] + struct.pack(">H", len(kept)) + tables["maxp"][6:]
    head = tables["head"]
    # Offset 8: the sum over the whole file, filled in below; offset 50: long offsets in loca.
    tables["head"] = head[:8] + bytes(4) + head[12:50] + struct.pack(">h", 1) + head[52:]
    return _woff(tables)


def _cmap(pairs: list[tuple[int, int]]) -> bytes:
    """Build a character map: format 12, and format 4 for readers that want it."""
    low = [(code, glyph) for code, glyph in pairs if code < 0xFFFF]
    segments = [*((code, (glyph - code) & 0xFFFF) for code, glyph in low), (0xFFFF, 1)]
    count = len(segments)
    power = 1 << (count.bit_length() - 1)
    search = (2 * power, power.bit_length() - 1, 2 * count - 2 * power)
    codes = struct.pack(f">{count}H", *(code for code, _ in segments))
    deltas = struct.pack(f">{count}H", *(delta for _, delta in segments))
    body = struct.pack(">HHHH", 2 * count, *search) + codes + bytes(2) + codes + deltas
    body += bytes(2 * count)
    format4 = struct.pack(">HHH", 4, len(body) + 6, 0) + body
    groups = b"".join(struct.pack(">III", code, code, glyph) for code, glyph in pairs)
    format12 = struct.pack(">HHIII", 12, 0, 16 + len(groups), 0, len(pairs)) + groups
    start = 4 + 2 * 8
    header = struct.pack(">HH", 0, 2) + struct.pack(">HHI", 3, 1, start)
    return header + struct.pack(">HHI", 3, 10, start + len(format4)) + format4 + format12


def _woff(tables: dict[str, bytes]) -> bytes:
    count = len(_TABLES)
    sfnt_size = 12 + 16 * count
    directory = []
    for tag in _TABLES:
        data = tables[tag]
        directory.append((tag.encode("ascii"), _checksum(data), sfnt_size, len(data)))
        sfnt_size += len(data) + -len(data) % 4
    power = 1 << (count.bit_length() - 1)
    header = struct.pack(
        ">IHHHH", 0x00010000, count, 16 * power, power.bit_length() - 1, 16 * (count - power)
    )
    total = _checksum(header) + sum(_checksum(struct.pack(">4sIII", *row)) for row in directory)
    total += sum(row[1] for row in directory)
    adjustment = (_WHOLE_FILE_SUM - total) & 0xFFFFFFFF
    head = tables["head"]
    tables = {**tables, "head": head[:8] + struct.pack(">I", adjustment) + head[12:]}

    start = 44 + 20 * count
    entries, body = b"", b""
    for name, checksum, _, length in directory:
        data = tables[name.decode("ascii")]
        packed = zlib.compress(data, 9)
        stored = packed if len(packed) < length else data
        entries += struct.pack(">4sIIII", name, start + len(body), len(stored), length, checksum)
        body += stored + bytes(-len(stored) % 4)
    size = start + len(body)
    return (
        struct.pack(">4sIIHHIHH", b"wOFF", 0x00010000, size, count, 0, sfnt_size, 1, 0)
        + bytes(20)
        + entries
        + body
    )


def _checksum(data: bytes) -> int:
    data += bytes(-len(data) % 4)
    words: tuple[int, ...] = struct.unpack(f">{len(data) // 4}I", data)
    return sum(words) & 0xFFFFFFFF


@lru_cache(maxsize=len(FACES))
def _load(face: Face) -> _Font:
    data = face.path.read_bytes()
    (count,) = struct.unpack_from(">H", data, 4)
    tables = {}
    for at in range(count):
        tag, _, offset, length = struct.unpack_from(">4sIII", data, 12 + 16 * at)
        tables[tag.decode("ascii")] = data[offset : offset + length]
    (glyph_count,) = struct.unpack_from(">H", tables["maxp"], 4)
    (metric_count,) = struct.unpack_from(">H", tables["hhea"], 34)
    pairs = struct.unpack_from(f">{'Hh' * metric_count}", tables["hmtx"])
    rest = glyph_count - metric_count
    more = struct.unpack_from(f">{rest}h", tables["hmtx"], 4 * metric_count)
    advances = pairs[0::2] + (pairs[-2],) * rest
    long_offsets = struct.unpack_from(">h", tables["head"], 50)[0] == 1
    if long_offsets:
        offsets = struct.unpack_from(f">{glyph_count + 1}I", tables["loca"])
    else:
        short = struct.unpack_from(f">{glyph_count + 1}H", tables["loca"])
        offsets = tuple(2 * offset for offset in short)
    return _Font(
        units_per_em=struct.unpack_from(">H", tables["head"], 18)[0],
        tables=tables,
        glyphs=_read_cmap(tables["cmap"]),
        advances=advances,
        bearings=pairs[1::2] + more,
        offsets=offsets,
    )


def _read_cmap(table: bytes) -> dict[int, int]:
    """Read format 12, the only one in the files of this package."""
    (start,) = struct.unpack_from(">I", table, 8)
    (group_count,) = struct.unpack_from(">I", table, start + 12)
    glyphs = {}
    for at in range(group_count):
        first, last, glyph = struct.unpack_from(">III", table, start + 16 + 12 * at)
        for code in range(first, last + 1):
            glyphs[code] = glyph + code - first
    return glyphs
