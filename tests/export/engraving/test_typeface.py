"""The package's fonts, read here by fontTools as the second reader."""

from __future__ import annotations

import io
import struct
import time
import zlib

import pytest
from fontTools.pens.recordingPen import RecordingPen
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

from skeleton.export.engraving import typeface
from skeleton.export.engraving.typeface import (
    BOLD,
    BOLD_ITALIC,
    FACES,
    FONT_FOLDER,
    ITALIC,
    REGULAR,
    SYMBOLS,
    face_for,
    font_face_css,
    font_files,
    missing_characters,
    subset_woff,
    text_reach,
    text_width,
)

SUBSET_LIMIT_S = 0.06
NEEDED = "♭♮♯𝄪𝄫½−–—’“”…éöüßñçøŁžΩДж·×°→↑↓▲▼"
TEXT_FACES = (REGULAR, BOLD, ITALIC, BOLD_ITALIC)

# Advances in thousandths of an em of Times-Roman and Times-Bold (Adobe's AFM files of the
# standard 14 fonts of PDF), from memory; Liberation Serif was made to the same widths.
TIMES = {
    REGULAR: {" ": 250, "A": 722, "G": 722, "a": 444, "f": 333, "m": 778, "0": 500, "W": 944},
    BOLD: {" ": 250, "A": 722, "a": 500, "m": 833, "0": 500, "W": 1000},
}


@pytest.mark.parametrize("face", FACES)
def test_a_face_is_what_its_description_says(face):
    font = TTFont(face.path)
    assert font["name"].getBestFamilyName() == face.family
    assert font["name"].getBestSubFamilyName().replace(" ", "").lower() == {
        REGULAR: "regular", BOLD: "bold", ITALIC: "italic", BOLD_ITALIC: "bolditalic",
        SYMBOLS: "regular",
    }[face]  # fmt: skip
    assert not {"GPOS", "kern", "GSUB", "fpgm"} & set(font.keys())
    assert not any(font["glyf"][name].isComposite() for name in font.getGlyphOrder())


def test_the_licence_and_no_reserved_name_go_along():
    licence = (FONT_FOLDER / "OFL.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE" in licence
    assert "Reserved Font Name Liberation" in licence
    for face in FACES:
        name = str(TTFont(face.path)["name"].getBestFullName())
        assert not any(word in name for word in ("Liberation", "Leipzig", "Arimo", "Tinos"))


@pytest.mark.parametrize("face", TEXT_FACES)
def test_every_sign_that_labels_need_is_there(face):
    assert missing_characters(NEEDED, face) == frozenset()


@pytest.mark.parametrize("face", FACES)
def test_all_advances_agree_with_the_second_reader(face):
    font = TTFont(face.path)
    em = font["head"].unitsPerEm
    style = {"bold": face in {BOLD, BOLD_ITALIC}, "italic": face in {ITALIC, BOLD_ITALIC}}
    for code, name in font.getBestCmap().items():
        if typeface.is_symbol(chr(code)) == (face is SYMBOLS):
            assert text_width(chr(code), em, **style) == pytest.approx(font["hmtx"][name][0])


@pytest.mark.parametrize("face", TIMES)
def test_widths_are_those_of_times(face):
    for character, thousandths in TIMES[face].items():
        assert text_width(character, 1000, bold=face is BOLD) == pytest.approx(thousandths, abs=1)


@given(st.text(max_size=20), st.text(max_size=20), st.floats(0.1, 1000))
def test_width_adds_up_and_scales(one, other, size):
    whole = text_width(one + other, size)
    assert whole == pytest.approx(text_width(one, size) + text_width(other, size))
    assert whole == pytest.approx(size * text_width(one + other, 1))


def test_reach_of_ink():
    font = TTFont(REGULAR.path)
    glyph = font["glyf"][font.getBestCmap()[ord("p")]]
    assert text_reach("p", font["head"].unitsPerEm) == (glyph.yMax, glyph.yMin)
    assert text_reach(" ", 100) == (0.0, 0.0)
    assert text_reach("Hp", 100)[0] == text_reach("H", 100)[0]
    assert text_reach("Hp", 100)[1] == text_reach("p", 100)[1]
    assert text_reach("雪", 100)[0] > text_reach("H", 100)[0]


def test_unknown_characters_count_as_wide_as_an_em():
    assert missing_characters("雪a") == {"雪"}
    assert text_width("雪", 10) == 10


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("text", ["", "G", "G−½ A♭ F♯", "𝄪𝄫", "\ueca5\uecab", "abcdefghij"])
def test_a_subset_is_a_sound_font_with_the_same_outlines(face, text):
    known = frozenset(text) - missing_characters(text, face)
    font = TTFont(io.BytesIO(subset_woff(face, frozenset(text))), checkChecksums=2)
    whole = TTFont(face.path)
    assert font.flavor == "woff"
    assert set(font.getBestCmap()) == {ord(c) for c in known}
    assert font["maxp"].numGlyphs <= len(known) + 1
    for code, name in font.getBestCmap().items():
        original = whole.getBestCmap()[code]
        assert font["hmtx"][name] == whole["hmtx"][original]
        drawn, expected = RecordingPen(), RecordingPen()
        font.getGlyphSet()[name].draw(drawn)
        whole.getGlyphSet()[original].draw(expected)
        assert drawn.value == expected.value
    maps = {table.format: dict(table.cmap) for table in font["cmap"].tables}
    basic = {code: name for code, name in maps[12].items() if code < 0x10000}
    assert maps[4] == basic


def unpack(woff: bytes) -> bytes:
    """The plain font in a WOFF file, as section 4 of the WOFF 1.0 specification has it."""
    count, plain_size = struct.unpack_from(">H2xI", woff, 12)
    power = 1 << (count.bit_length() - 1)
    header = struct.pack(
        ">IHHHH", 0x10000, count, 16 * power, power.bit_length() - 1, 16 * (count - power)
    )
    directory, body = b"", b""
    for at in range(count):
        tag, offset, packed, size, checksum = struct.unpack_from(">4s4I", woff, 44 + 20 * at)
        data = woff[offset : offset + packed]
        data = zlib.decompress(data) if packed < size else data
        directory += struct.pack(">4s3I", tag, checksum, 12 + 16 * count + len(body), size)
        body += data + bytes(-size % 4)
    assert len(header + directory + body) == plain_size
    return header + directory + body


@pytest.mark.parametrize("face", FACES)
def test_the_sum_over_the_whole_file_is_the_one_of_the_standard(face):
    plain = unpack(subset_woff(face, frozenset("G−½♭ \ueca5")))
    words = struct.unpack(f">{len(plain) // 4}I", plain)
    assert sum(words) & 0xFFFFFFFF == 0xB1B0AFBA  # OpenType 1.9, head.checksumAdjustment


def test_the_same_characters_give_the_same_bytes():
    subset_woff.cache_clear()
    first = subset_woff(REGULAR, frozenset("abc♭"))
    subset_woff.cache_clear()
    assert subset_woff(REGULAR, frozenset("♭cba")) == first


def test_css_names_only_what_is_used():
    css = font_face_css({BOLD: "12", REGULAR: "", ITALIC: "雪"})
    assert css.count("@font-face") == 1
    assert "font-weight:700" in css
    assert font_face_css({}) == ""


def test_carrying_a_font_along_costs_little():
    characters = {face: [chr(code) for code in range(0x20, 0x17F)] for face in TEXT_FACES}
    spent_s = []
    for _ in range(3):
        subset_woff.cache_clear()
        typeface._load.cache_clear()
        start_s = time.process_time()
        font_face_css({**characters, SYMBOLS: "\ueca5"})
        spent_s.append(time.process_time() - start_s)
    assert min(spent_s) < SUBSET_LIMIT_S


def test_faces_and_files():
    assert face_for() is REGULAR
    assert face_for(bold=True, italic=True) is BOLD_ITALIC
    assert len(font_files()) == len(FACES)
