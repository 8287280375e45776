"""The handout as PDF, read back by programs that had no part in making it: pypdf and pdfium."""

from __future__ import annotations

import io
import re

import pypdf
import pypdfium2
import pytest
from pdf_ink import ink_mm
from pdf_tags import check_tagged, structure

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import read_lesson
from skeleton.export.handout.make import handout
from skeleton.export.handout.pdf import handout_pdf
from skeleton.export.handout.pictures import HandoutPictures, passage_pictures, translated
from skeleton.export.handout.typeset import MARGIN_MM, Pdf, music_width_mm
from skeleton.export.handout.words import words
from skeleton.export.marking.marks import marks
from skeleton.score.reading import read

ROUNDING_MM = 0.1
"""The engraver counts widths in whole units, of which a staff of 7 mm has 72."""


def reader(data: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(data))


def text_of(data: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in reader(data).pages).split())


def score_text(title: str, words_text: str = "x", lyric: str = "la", composer: str = "c") -> str:
    music = "".join(
        f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>4</octave></pitch>"
        f"<duration>1</duration><voice>1</voice><type>quarter</type><notations>"
        f'<slur type="{slur}"/></notations><lyric><text>{lyric}</text></lyric></note>'
        for step, alter, slur in (("F", 1, "start"), ("G", 0, "stop"))
    )
    return (
        '<score-partwise version="4.0">'
        f"<work><work-title>{title}</work-title></work><identification>"
        f'<creator type="composer">{composer}</creator></identification><part-list>'
        '<score-part id="P1"><part-name>Violin</part-name></score-part></part-list><part id="P1">'
        "<measure number='1'><attributes><divisions>1</divisions><time><beats>2</beats>"
        "<beat-type>4</beat-type></time></attributes><direction><direction-type><words>"
        f"{words_text}</words></direction-type></direction>{music}</measure></part></score-partwise>"
    )


def test_all_sections_stand_in_order_and_their_text_is_found(first_pdf) -> None:
    text = text_of(first_pdf.data)
    order = [
        "Week three", "This week", "The skeleton by heart.", "every D rings", "Tune first",
        "Passage opening, measures 1 to 8", "Bare skeleton", "With its accidentals",
        "Fixed: as the open string", "Tune each from its skeleton note",
        "Passage rest, measures 9 to 16", "Notes that must match", "The full etude",
        "Listening sheet", "Targets and checks", "Take care",
    ]  # fmt: skip
    places = [text.find(one) for one in order]
    assert -1 not in places
    assert places == sorted(places)
    assert "half step below G4" in text
    assert "first-skeleton.musicxml" in text


def test_pages_are_numbered_and_a4(first_pdf) -> None:
    pages = reader(first_pdf.data).pages
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in " ".join(page.extract_text().split())
        assert [float(side) for side in page.mediabox[2:]] == pytest.approx(
            [595.28, 841.89], abs=0.1
        )


def test_letter_paper_and_german(first_skeleton, engraver) -> None:
    made = handout(
        first_skeleton.analysis, first_skeleton.lesson, engraver, paper="letter", language="de"
    )
    page = reader(made.data).pages[0]
    assert [float(side) for side in page.mediabox[2:]] == pytest.approx([612, 792], abs=0.1)
    text = text_of(made.data)
    for german in ("Zuerst stimmen", "Halbton unter g′", "fis′ fis′′", "Seite 1 von"):
        assert german in text
    assert reader(made.data).trailer["/Root"]["/Lang"] == "de"
    for english in ("half step", "Measure", "Passage ", "page 1"):
        assert english not in text


def test_the_same_input_gives_the_same_bytes(first_skeleton, first_pdf, engraver) -> None:
    again = handout(first_skeleton.analysis, first_skeleton.lesson, engraver)
    assert again.data == first_pdf.data


def test_every_font_is_embedded_and_is_the_packages_own(first_pdf) -> None:
    names = set()
    for page in reader(first_pdf.data).pages:
        for font in page["/Resources"]["/Font"].values():
            for below in font.get_object()["/DescendantFonts"]:
                about = below.get_object()["/FontDescriptor"]
                assert {"/FontFile2", "/FontFile3"} & about.keys()
                names.add(str(about["/FontName"]).partition("+")[2])
    assert names
    assert all(name.startswith("Etude") for name in names), names


def test_it_is_tagged_and_says_that_it_meets_pdf_ua(first_pdf) -> None:
    alts = check_tagged(reader(first_pdf.data))
    music = [alt for alt in alts if alt.startswith("Engraved music")]
    assert any("opening: Bare skeleton, measures 1 to" in alt for alt in music)


def test_nothing_stands_in_the_margins(first_pdf) -> None:
    with pypdfium2.PdfDocument(first_pdf.data) as document:
        for page in document:
            left, top, right, bottom = ink_mm(page)
            assert left >= MARGIN_MM - 0.5
            assert right <= 210 - MARGIN_MM + 0.5
            assert top >= 12
            assert bottom <= 297 - 7


def test_staves_are_at_least_7_mm_high(first_pictures) -> None:
    # From the picture's own size: a staff is 720 units high in its coordinates.
    drawn, width = first_pictures, music_width_mm("a4")
    for system in (*drawn.etude, *drawn.listening, *drawn.passages[0].bare):
        units = float(re.search(r'viewBox="\S+ \S+ (\S+) ', system.svg)[1])
        assert 720 * system.width_mm / units >= 7.0 - 1e-6
        assert system.width_mm <= width + ROUNDING_MM


def test_a_system_is_one_picture_and_every_measure_is_in_one(first_pictures) -> None:
    drawn = first_pictures
    for systems in (drawn.etude, drawn.listening):
        assert all(one.svg.count('class="system"') == 1 for one in systems)
        assert sum(one.svg.count('class="measure"') for one in systems) == 16
    for stages in drawn.passages:
        for systems in (stages.bare, stages.neighbours):
            assert sum(one.svg.count('class="measure"') for one in systems) == 8


def test_bare_and_neighbours_break_at_the_same_measures(
    first_skeleton, first_pictures, engraver
) -> None:
    width = music_width_mm("a4")
    one = passage_pictures(first_skeleton.analysis, engraver, words("en"), width, "opening")
    assert [system.svg.count('class="measure"') for system in one.bare] == [
        system.svg.count('class="measure"') for system in one.neighbours
    ]
    assert one == first_pictures.passages[0]


@pytest.mark.parametrize(
    ("name", "english", "german"),
    [
        ("lower-neighbours-in-d", "B−½", "H−½"),
        ("flat-side-in-e-flat", "B♭−½", "B−½"),
        ("flat-side-in-e-flat", "B+½", "H+½"),
        ("two-voices-in-d-minor", "=G−½", "=G−½"),
        ("three-octaves", "F♯−½", "Fis−½"),
    ],
)
def test_german_marks_have_german_names(scores, name: str, english: str, german: str) -> None:
    analysis = analyse(read(scores / f"{name}.musicxml"))
    said, own = marks(analysis), translated(marks(analysis), analysis, words("de"))
    at = [place for place, label in enumerate(said.labels) if english in label.texts]
    assert at
    for place in at:
        texts = said.labels[place].texts
        assert own.labels[place].texts[texts.index(english)] == german
    signed = [text for label in own.labels for text in label.texts if set("♯♭") & set(text)]
    assert signed == []


def test_german_marks_are_engraved(made_of) -> None:
    _, made = made_of(score_text("x").replace("<step>F", "<step>A").replace("<step>G", "<step>B"),
                      language="de")  # fmt: skip
    assert "H−½" in text_of(made.data)


HOSTILE = (
    '#import "@preview/x:1.0.0"', "#panic(1)", "*bold* _it_ $x$ `raw` \\u{41} @ref [b] {c}",
    "&lt;script&gt;alert(1)&lt;/script&gt;", "&quot;); drop", "https://example.org/x",
    "// comment /* more", "= Heading", "- item", "{title} {0}", "%s %n",
)  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_texts_of_a_score_stay_text(made_of, text: str) -> None:
    _, made = made_of(score_text(text, text, text, text))
    plain = text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", '"')
    found = reader(made.data)
    assert re.sub(r"\s", "", plain) in re.sub(r"\s", "", text_of(made.data))
    assert found.metadata.title == plain
    assert made.notices == ()
    root = found.trailer["/Root"]
    assert "/OpenAction" not in root
    assert "/AcroForm" not in root
    assert "/JavaScript" not in root.get("/Names", {})
    assert not any("/Annots" in page for page in found.pages)


def test_a_very_long_title_stays_on_the_page(made_of) -> None:
    _, made = made_of(score_text("Long " * 60 + "X" * 120))
    test_nothing_stands_in_the_margins(made)


FOOTER_MM = (0.0, 280.0, 150.0, 297.0)
"""Left of the page's number."""
PAGE_NUMBER_MM = (150.0, 280.0, 210.0, 297.0)
FIRST_LETTER_MM = (0.0, 280.0, MARGIN_MM + 1.5, 297.0)
FINE = 8


def footer_ink(pdf: Pdf, within: tuple[float, float, float, float]) -> tuple[float, ...]:
    with pypdfium2.PdfDocument(pdf.data) as document:
        return ink_mm(document[0], within, FINE)


@pytest.mark.parametrize(
    ("title", "plain"), [("Übung", "Ubung"), ("Étude", "Etude"), ("Ångström", "Angstrom")]
)
def test_the_footer_shows_what_stands_above_capitals(made_of, title: str, plain: str) -> None:
    _, top, _, bottom = footer_ink(made_of(score_text(title))[1], FIRST_LETTER_MM)
    _, plain_top, _, plain_bottom = footer_ink(made_of(score_text(plain))[1], FIRST_LETTER_MM)
    # In the font the lowest of them, the dots of Ü, end 0.155 of 8.5 points above the U: 0.46 mm.
    assert plain_top - top > 0.4
    assert bottom == pytest.approx(plain_bottom, abs=0.05)


def test_a_long_footer_is_one_line_and_ends_before_the_number_of_the_page(made_of) -> None:
    # No letter below the line, and the highest accents of the font on every line.
    _, long = made_of(score_text("Ǻ" + " ǺÃÊÜ" * 60))
    _, short = made_of(score_text("A"))
    number_left = footer_ink(short, PAGE_NUMBER_MM)[0]
    whole = (*FOOTER_MM[:2], number_left - 0.2, FOOTER_MM[3])
    _, _, right, bottom = footer_ink(long, whole)
    assert bottom == pytest.approx(footer_ink(short, FIRST_LETTER_MM)[3], abs=0.05)
    assert number_left - 40 < right <= number_left - 7.5


def test_characters_without_a_font_are_told_and_the_sheet_is_made(made_of) -> None:
    _, made = made_of(score_text("\u7df4\u7fd2\u66f2", lyric="\U000130b8"))
    assert {notice.code for notice in made.notices} & {"other-fonts", "no-font"}
    assert "Tune first" in text_of(made.data)


def test_an_etude_without_accidentals_says_so(made_of) -> None:
    plain = score_text("Plain").replace("<alter>1</alter>", "")
    found, made = made_of(plain)
    assert not found.parts[0].accidentals
    text = text_of(made.data)
    assert "No accidental of this etude returns." in text
    assert "Bare skeleton" in text
    assert "With its accidentals" not in text


def test_an_etude_of_rests_has_nothing_to_tune(made_of) -> None:
    rests = re.sub(r"<pitch>.*?</pitch>", "<rest/>", score_text("Rests"))
    rests = re.sub(r"<notations>.*?</notations><lyric>.*?</lyric>", "", rests)
    one = score_text("x")
    second = re.search(r"<measure.*</measure>", rests, re.DOTALL)[0].replace("'1'", "'2'")
    _, made = made_of(one.replace("</part>", f"{second}</part>"))
    assert reader(made.data).pages


def test_a_passage_without_pictures_says_there_is_nothing(first_skeleton) -> None:
    from dataclasses import replace

    from skeleton.export.handout.content import handout_content
    from skeleton.export.handout.pictures import PassagePictures
    from skeleton.intonation.targets import targets

    analysis = first_skeleton.analysis
    content = handout_content(analysis, targets(analysis), words("en"))
    bare = tuple(replace(one, parts=()) for one in content.passages)
    nothing = HandoutPictures(tuple(PassagePictures((), ()) for _ in bare), (), (), ())
    made = handout_pdf(replace(content, passages=bare), nothing)
    assert text_of(made.data).count("Nothing to tune here.") == 2


def figures(data: bytes, beginning: str) -> list[int]:
    """Return how many pictures, by the beginning of what they say of themselves, each page has."""
    found = reader(data)
    counts: dict[int, int] = {}
    for one in structure(found)["/Figure"]:
        if str(one.get("/Alt", "")).startswith(beginning):
            page = found.get_page_number(one["/Pg"].get_object())
            counts[page] = counts.get(page, 0) + 1
    return [counts[page] for page in sorted(counts)]


def test_lines_of_a_long_etude_are_spread_over_its_pages(scores, engraver) -> None:
    # Seven lines, of which six fit on a page.
    analysis = analyse(read(scores / "lower-neighbours-in-d.musicxml"))
    data = handout(analysis, None, engraver).data
    assert figures(data, "Engraved music, The full etude") == [3, 4]
    assert min(figures(data, "Engraved music, the etude without marks")) > 1
    test_nothing_stands_in_the_margins(Pdf(data, ()))


def test_a_short_etude_stands_under_its_matches(scores, engraver) -> None:
    lesson = read_lesson(scores / "first-skeleton.toml")
    data = handout(analyse(read(scores / "first-skeleton.musicxml"), lesson), lesson, engraver).data
    pages = [page.extract_text() for page in reader(data).pages]
    (page,) = [text for text in pages if "The full etude" in text]
    assert "Notes that must match" in page
    assert "Listening sheet" not in page
    assert figures(data, "Engraved music, The full etude") == [4]


def test_names_of_intervals_in_marks_are_explained_where_there_are_any(first_pdf, made_of) -> None:
    assert "E+m3" in text_of(first_pdf.data)
    assert "G−m3, minor third below G" in text_of(first_pdf.data)
    _, plain = made_of(score_text("Plain"))
    assert "minor third" not in text_of(plain.data)


def test_notes_that_are_not_the_same_stand_with_their_table(scores, engraver) -> None:
    analysis = analyse(read(scores / "viola-crossings.musicxml"))
    text = text_of(handout(analysis, None, engraver).data)
    (at,) = [found.start() for found in re.finditer("Not the same note: C♯ and D♭", text)]
    assert text[:at].endswith("Tune each from its skeleton note ")
