"""The sheet of a take as PDF, read back by pypdf and pdfium."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pypdf
import pypdfium2
import pytest
from pdf_ink import POINTS_A_MM, ink_mm
from pdf_tags import check_tagged

from skeleton.export.handout.typeset import MARGIN_MM
from skeleton.export.take.content import take_sheet
from skeleton.export.take.make import listening_sheet
from skeleton.export.take.words import take_words
from skeleton.listening.ear_marks import EarTake, compare
from skeleton.listening.notices import TakeNotice

HOSTILE = '#panic(1) *b* $x$ "</svg>".wav'
TOO_LOUD = TakeNotice(
    "clipped", "at 0:01.0: too loud, its peaks are cut off: record it quieter", times_s=(1.0,)
)


@pytest.fixture(scope="module")
def ear(take):
    said = {take.note(4): "flat", take.note(11): "flat", take.note(2): "sharp"}
    return compare(EarTake("2024-05-01", said), take.report.notes)


@pytest.fixture(scope="module")
def sheet(take, ear, engraver) -> bytes:
    made = listening_sheet(
        take.report, take.curves, "Tuesday.wav", engraver, ear=ear, notices=[TOO_LOUD]
    )
    assert made.notices == ()
    return made.data


def text_of(data: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_it_says_everything_in_order(sheet) -> None:
    text = text_of(sheet)
    order = [
        "Tuesday.wav", "notes of", "Judged against the open strings", "What to work on",
        "Your ear and the measurement", "wrong direction: 1", "The etude with the marks",
        "Note by note", "Bar, beat", "How it was judged", "As played before the first note",
        "Before you believe it", "Too loud, its peaks are cut off", "Listen first",
    ]  # fmt: skip
    places = [text.lower().find(one.lower()) for one in order]
    assert -1 not in places, order[places.index(-1)]
    assert places == sorted(places)
    assert "page 1 of" in text


def test_the_table_has_every_note_with_its_figures(take, sheet) -> None:
    text = text_of(sheet)
    content = take_sheet(take.report, "Tuesday.wav", take_words("en"))
    cells = [row.cells for one in content.passages for row in one.rows]
    assert len(cells) == len(take.report.notes)
    assert all(len(row) == len(content.words.say.note_head) for row in cells)
    for row in cells:
        assert " ".join(filter(None, row[:6])) in text
    by_note = {row.note: row.cells for one in content.passages for row in one.rows}
    assert by_note[take.note(4)][5] == "high"
    assert by_note[take.note(11)][5] == "low"


def test_the_same_take_gives_the_same_bytes(take, ear, sheet, engraver) -> None:
    again = listening_sheet(
        take.report, take.curves, "Tuesday.wav", engraver, ear=ear, notices=[TOO_LOUD]
    )
    assert again.data == sheet


def test_fonts_are_embedded_and_it_is_tagged(sheet) -> None:
    reader = pypdf.PdfReader(io.BytesIO(sheet))
    names = set()
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            for below in font.get_object()["/DescendantFonts"]:
                about = below.get_object()["/FontDescriptor"]
                assert {"/FontFile2", "/FontFile3"} & about.keys()
                names.add(str(about["/FontName"]).partition("+")[2])
    assert names
    assert all(name.startswith("Etude") for name in names), names
    alts = check_tagged(reader)
    assert any(alt.startswith("Engraved music, the etude with the marks") for alt in alts)
    assert any(alt.startswith("Pitch curve, measure") for alt in alts)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_nothing_stands_in_the_margins(take, engraver, paper) -> None:
    made = listening_sheet(take.report, take.curves, "t.wav", engraver, paper=paper)
    with pypdfium2.PdfDocument(made.data) as document:
        assert len(document) >= 2
        for page in document:
            left, _, right, _ = ink_mm(page)
            assert left >= MARGIN_MM - 0.5
            assert right <= page.get_width() / POINTS_A_MM - MARGIN_MM + 0.5


def test_names_stay_text(take, engraver) -> None:
    made = listening_sheet(take.report, take.curves, HOSTILE, engraver)
    assert re.sub(r"\s", "", HOSTILE) in re.sub(r"\s", "", text_of(made.data))
    reader = pypdf.PdfReader(io.BytesIO(made.data))
    assert not any("/Annots" in page for page in reader.pages)


def test_a_take_with_nothing_to_say_is_still_a_sheet(take, engraver) -> None:
    bare = replace(take.report, findings=(), returns=(), tendency=None)
    text = text_of(listening_sheet(bare, (), "t.wav", engraver).data)
    assert "Nothing that was measured is surely off." in text
    assert "And later" not in text
    assert "Notes that must match" not in text
