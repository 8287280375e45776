"""Pages made plain, read out, coloured, named, joined and written."""

from __future__ import annotations

import io
import re

import pytest
import resvg_py
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from PIL import Image, ImageChops

from skeleton.errors import EngravingError
from skeleton.export.engraving.engraver import STAFF_UNITS, Engraver, Layout
from skeleton.export.engraving.svg import (
    SVG,
    XLINK,
    Box,
    grow,
    marks_layer,
    open_page,
    staves,
    used_characters,
    write,
)
from skeleton.export.engraving.svg_edit import (
    GREY,
    add_titles,
    colour_notes,
    describe,
    join,
    name_ids,
)
from skeleton.export.engraving.svg_text import placed_texts
from skeleton.export.engraving.typeface import (
    BOLD,
    FONT_FOLDER,
    ITALIC,
    MUSIC,
    REGULAR,
    SERIF,
    SYMBOLS,
    text_width,
)

TOLERANCE_UNITS = 3.0  # Verovio rounds to whole units; a staff space has 180
STEP_UNITS = 90.0  # from a line to the next space: half of a quarter of the 720 of a staff
DIFFERENT_PIXELS = 20  # of 900,000; none were seen
LETTERS = "CDEFGAB"

# id, letter, alter, octave, what else stands in the note
NOTES = (
    ("n1", "F", 1, 4, '<beam number="1">begin</beam>'),
    ("n2", "G", 0, 4, '<beam number="1">end</beam>'),
    ("n3", "C", 1, 5, '<beam number="1">begin</beam>'),
    ("n4", "D", 0, 5, '<beam number="1">end</beam>'),
    ("n5", "A", 0, 3, ""),
    ("n6", "E", 0, 5, ""),
    ("n7", "B", 0, 5, ""),
)


def music() -> str:
    notes = []
    for name, step, alter, octave, beam in NOTES:
        long = not beam
        chord = "<chord/>" if name == "n6" else ""
        sign = "<accidental>sharp</accidental>" if alter else ""
        lyric = "<lyric><text>G−½</text></lyric>" if name == "n1" else ""
        notes.append(
            f'<note id="{name}">{chord}<pitch><step>{step}</step><alter>{alter}</alter>'
            f"<octave>{octave}</octave></pitch><duration>{2 if long else 1}</duration>"
            f"<voice>1</voice><type>{'quarter' if long else 'eighth'}</type>"
            f"{sign}{beam}{lyric}</note>"
        )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Viola &amp; '
        '&lt;co&gt;</part-name></score-part></part-list><part id="P1"><measure number="1">'
        "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        "<clef><sign>G</sign><line>2</line></clef></attributes>"
        '<direction placement="above"><direction-type><words font-style="italic">dolce</words>'
        '</direction-type></direction><direction placement="above"><direction-type><metronome>'
        "<beat-unit>quarter</beat-unit><per-minute>66</per-minute></metronome></direction-type>"
        f'</direction>{"".join(notes[:4])}{"".join(notes[4:])}</measure><measure number="2">'
        '<print new-system="yes"/><note id="r"><rest measure="yes"/><duration>8</duration>'
        "<voice>1</voice></note></measure></part></score-partwise>"
    )


IDS = tuple(row[0] for row in NOTES)


@pytest.fixture(scope="module")
def engraved():
    with Engraver() as engraver:
        yield engraver.engrave(music(), Layout(breaks="line"), expect_ids=IDS)


@pytest.fixture(scope="module")
def lines():
    with Engraver() as engraver:
        yield engraver.engrave(music(), Layout(breaks="line", systems_per_page=1))


@pytest.fixture
def page(engraved):
    return open_page(engraved.pages[0], engraved.unit_mm)


def find(root, name):
    return root.xpath(f'//*[@id="{name}"]')[0]


def part(root, name, kind):
    return find(root, name).xpath(f'.//*[contains(@class, "{kind}")]')[0]


def test_one_coordinate_system_and_millimetres(page):
    assert page.root.xpath("//*[local-name()='svg']") == [page.root]
    assert page.root.get("width") == "189.972mm"  # 1954 units of 7/72 mm
    numbers = [float(part) for part in page.root.get("viewBox").split()]
    assert numbers == [page.frame.x, page.frame.y, page.frame.width, page.frame.height]
    assert page.frame.width * page.unit_mm == pytest.approx(190, abs=0.1)
    moved = page.root.xpath("//*[local-name()='g' and @transform]")
    assert moved == []


def pixels(svg):
    # A reader that knows nothing of this package's pages: ten units a pixel.
    sized = re.sub(r'width="[^"]*" height="[^"]*"', 'width="1954" height="480"', svg, count=1)
    png = resvg_py.svg_to_bytes(
        svg_string=sized, background="#ffffff", skip_system_fonts=True,
        font_dirs=[str(FONT_FOLDER)], serif_family=SERIF,
    )  # fmt: skip
    return Image.open(io.BytesIO(bytes(png))).convert("L")


def test_a_plain_page_looks_like_the_engravers_own(engraved, page):
    raw = engraved.pages[0].replace("Leipzig", MUSIC)
    own, plain = pixels(raw), pixels(write(page))
    assert own.size == plain.size
    assert sum(own.histogram()[:100]) > 5_000  # there is music on it
    assert sum(ImageChops.difference(own, plain).histogram()[100:]) < DIFFERENT_PIXELS


def test_everything_drawn_lies_in_the_frame(page):
    for item in page.drawn:
        assert page.frame.x <= item.box.x
        assert item.box.right <= page.frame.right
        assert page.frame.y <= item.box.y
        assert item.box.bottom <= page.frame.bottom


def test_text_behind_a_removed_box_stays():
    text = (
        f'<svg xmlns="{SVG}" id="a"><svg class="definition-scale" viewBox="0 0 9 9">'
        '<g class="page-margin" transform="translate(1, 2)"><text x="3" y="4" font-size="10px">'
        'one <tspan>two</tspan><g id="bbox-b" class="text bounding-box"/> three</text>'
        '<text><g id="bbox-c" class="text bounding-box autogenerated" color="red"/>four'
        '<g id="bbox-d" class="syl bounding-box"><title class="x">A</title></g> five</text>'
        "</g></svg></svg>"
    )
    page = open_page(text, 1.0)
    assert ["".join(e.itertext()) for e in page.root.iter(f"{{{SVG}}}text")] == [
        "one two three",
        "four five",
    ]
    assert page.frame == Box(-1, -2, 9, 9)


def test_a_box_in_another_form_is_not_left_in_the_picture():
    text = (
        f'<svg xmlns="{SVG}" id="a"><svg class="definition-scale" viewBox="0 0 9 9">'
        '<g class="page-margin"><g id="bbox-b" class="note bounding-box"><path/></g></g>'
        "</svg></svg>"
    )
    with pytest.raises(EngravingError, match="box"):
        open_page(text, 1.0)


def test_boxes_of_the_kinds_asked_for(engraved, page):
    heads = open_page(engraved.pages[0], engraved.unit_mm, ("note",))
    assert {item.kind for item in heads.drawn} == {"note"} < {item.kind for item in page.drawn}
    assert heads.noteheads() == page.noteheads()
    assert etree.tostring(heads.root) == etree.tostring(page.root)


def test_lines_within_a_text_are_told_apart():
    text = (
        f'<svg xmlns="{SVG}" id="a"><svg class="definition-scale" viewBox="0 0 9 9">'
        '<g class="page-margin"><g class="dir"><text x="5" y="7" font-size="0px">'
        '<tspan font-size="10px">one<tspan font-weight="bold">two</tspan></tspan>'
        '<tspan x="50" y="20" text-anchor="end" font-size="20px">three</tspan>'
        '<tspan y="30"> </tspan></text></g></g></svg></svg>'
    )
    one, three = placed_texts(open_page(text, 1.0))
    assert (one.text, one.x, one.y) == ("onetwo", 5, 7)
    italic = {"italic": True}  # directions are slanted by the engraver's style sheet
    assert one.box.width == text_width("one", 10, **italic) + text_width(
        "two", 10, bold=True, **italic
    )
    assert (three.text, three.y) == ("three", 20)
    assert three.box.right == pytest.approx(50)


def test_heads_stand_where_their_pitches_do(page):
    # Common practice, no source: one letter up is half a staff space up, and F5 in treble
    # clef is the top line.
    heads = page.noteheads()
    assert sorted(heads) == sorted(IDS)
    first, second = staves(page)
    assert first.height == second.height == STAFF_UNITS
    for name, step, _, octave, _ in NOTES:
        below_top = (LETTERS.index("F") + 7 * 5) - (LETTERS.index(step) + 7 * octave)
        expected = first.y + below_top * STEP_UNITS
        assert heads[name].centre[1] == pytest.approx(expected, abs=TOLERANCE_UNITS)
        assert first.x < heads[name].x < first.right


def test_heads_agree_with_the_engravers_own_glyph_positions(page):
    for name, box in page.noteheads().items():
        use = part(page.root, name, "notehead")[0]
        x, y = re.match(r"translate\((\d+), (\d+)\)", use.get("transform")).groups()
        assert box.x == pytest.approx(float(x), abs=TOLERANCE_UNITS)
        assert box.centre[1] == pytest.approx(float(y), abs=TOLERANCE_UNITS)


def test_signs_stand_before_their_heads(page):
    signs = [item for item in page.drawn if item.kind == "accid"]
    assert len(signs) == 2
    for sign, note in zip(signs, ("n1", "n3"), strict=True):
        head = page.noteheads()[note]
        assert sign.box.right < head.x + TOLERANCE_UNITS
        assert sign.box.y < head.centre[1] < sign.box.bottom


def test_boxes_and_place_holders_are_gone(page):
    text = write(page)
    assert "bounding-box" not in text
    assert "placeholder" not in re.sub(r"<style.*?</style>", "", text)


@pytest.mark.parametrize("text", ["<svg", "<svg/>", f'<svg xmlns="{SVG}"><g/></svg>'])
def test_what_is_no_page_is_refused(text):
    with pytest.raises(EngravingError):
        open_page(text, 0.01)


def test_ids_are_unique_carry_the_prefix_and_resolve(page):
    before = len(page.root.xpath("//@id"))
    name_ids(page, IDS, "s-")
    ids = page.root.xpath("//@id")
    assert len(ids) == len(set(ids)) < before
    assert {f"s-{name}" for name in IDS} <= set(ids)
    assert all(name.startswith("s-") for name in ids)
    targets = page.root.xpath("//@x:href", namespaces={"x": XLINK})
    assert targets
    assert {target.removeprefix("#") for target in targets} <= set(ids)
    assert "#" not in page.root.findtext(f"{{{SVG}}}style")


def test_two_pages_in_one_document_share_no_id(lines):
    ids = []
    for number, text in enumerate(lines.pages):
        page = open_page(text, lines.unit_mm)
        name_ids(page, IDS, f"p{number}-")
        ids += page.root.xpath("//@id")
    assert len(ids) == len(set(ids))


def test_colour_reaches_head_and_stem_and_leaves_the_accidental(page):
    colour_notes(page, {"n1": GREY, "n9": GREY})
    assert part(page.root, "n1", "notehead").get("fill") == GREY
    assert part(page.root, "n1", "stem").get("color") == GREY
    assert part(page.root, "n1", "accid").get("fill") is None
    assert part(page.root, "n2", "notehead").get("fill") is None


def test_beams_and_chord_stems_take_a_colour_all_their_notes_have(page):
    colour_notes(page, {"n1": GREY, "n2": GREY, "n3": GREY, "n5": GREY})
    beams = page.root.xpath("//*[@class='beam']/*[local-name()='polygon']")
    assert [beam.get("fill") for beam in beams] == [GREY, None]
    chord = page.root.xpath("//*[@class='chord']")[0]
    assert chord.xpath("*[@class='stem']")[0].get("color") is None
    colour_notes(page, {"n5": GREY, "n6": GREY})
    assert chord.xpath("*[@class='stem']")[0].get("color") == GREY


def test_titles_and_description_are_escaped_text(page):
    add_titles(page, {"n1": "F♯4 <b>&", "n9": "elsewhere"})
    describe(page, 'A "label"', "Two <lines>")
    text = write(page)
    root = etree.fromstring(text)
    assert find(root, "n1")[0].text == "F♯4 <b>&"
    assert len(root.xpath("//*[local-name()='title']")) == 1
    assert root.get("role") == "img"
    assert root.get("aria-label") == 'A "label"'
    assert [d.text for d in root.xpath("//*[local-name()='desc']")] == ["Two <lines>"]


def test_the_marks_layer_is_one_and_lies_on_top(page):
    layer = marks_layer(page)
    assert marks_layer(page) is layer
    assert layer.getparent()[-1] is layer


def test_growing_makes_room_above_and_below(page):
    taller = grow(page, top=100, bottom=50)
    assert taller.frame.y == page.frame.y - 100
    assert taller.frame.bottom == page.frame.bottom + 50
    assert page.root.get("viewBox").split()[1] == f"{taller.frame.y:g}"


def test_texts_are_where_they_are_drawn_and_as_wide_as_their_font_makes_them(page):
    texts = {text.kind: text for text in placed_texts(page)}
    label = texts["syl"]
    assert (label.text, label.note) == ("G−½", "n1")
    assert label.box.width == pytest.approx(text_width("G−½", 306))
    assert texts["dir"].box.width == pytest.approx(text_width("dolce", 306, italic=True))
    assert texts["label"].text == "Viola & <co>"
    # Set against the right: the engraver's anchor is the end.
    assert texts["label"].box.right < next(i.box.x for i in page.drawn if i.kind == "staff")
    assert texts["tempo"].box.y < texts["tempo"].y < texts["tempo"].box.bottom + 50


def test_a_written_page_is_closed_and_brings_its_fonts(page):
    text = write(page)
    bare = re.sub(r"data:font/woff;base64,[A-Za-z0-9+/=]+", "data:", text)
    assert re.findall(r"(?:href|src)=[\"'](?!#)", bare) == []
    assert re.findall(r"url\((?!data:)", bare) == []
    assert set(re.findall(r"https?://[^\"'\s]+", bare)) == {SVG, XLINK}
    assert text.count("@font-face") == 4
    assert 'font-family="&quot;Etude Serif&quot;' in text
    assert "Leipzig" not in text
    assert "@font-face" not in write(page, fonts=False)


def test_characters_are_counted_for_the_face_that_draws_them(page):
    used = used_characters(page)
    assert set("G−½") <= used[REGULAR]
    assert set("dolce") <= used[ITALIC]
    assert set("66") <= used[BOLD]
    assert used[SYMBOLS] == {"\ueca5"}  # SMuFL 1.4: metNoteQuarterUp


def test_writing_is_stable(page):
    text = write(page)
    assert write(page) == text
    assert "@font-face" not in write(page, fonts=False)


@pytest.mark.parametrize(
    ("tag", "attributes"),
    [
        ("script", {}),
        ("foreignObject", {}),
        ("rect", {"onclick": "x()"}),
        ("image", {"href": "picture.png"}),
        ("use", {f"{{{XLINK}}}href": "https://example.org/#a"}),
        ("rect", {"style": "fill:url(https://example.org/a)"}),
        ("style", {}),
    ],
)
def test_what_runs_or_points_outside_is_not_written(page, tag, attributes):
    element = etree.SubElement(marks_layer(page), f"{{{SVG}}}{tag}", attributes)
    if tag == "style":
        element.text = "@import 'x.css'"
    with pytest.raises(EngravingError):
        write(page)


def test_joined_pages_stand_under_each_other(lines):
    pages = [open_page(text, lines.unit_mm) for text in lines.pages]
    for page in pages:
        name_ids(page, IDS)
    whole = join(pages, gap=100)
    assert whole.frame.height == sum(page.frame.height for page in pages) + 100
    ids = whole.root.xpath("//@id")
    assert len(ids) == len(set(ids))
    assert set(IDS) <= set(ids)
    heads = whole.noteheads()
    single = pages[0].noteheads()
    for name in IDS:
        assert heads[name].y == single[name].y - pages[0].frame.y
    rest = next(item for item in whole.drawn if item.id == "r")
    assert rest.box.y > max(box.bottom for box in heads.values())
    targets = {t.removeprefix("#") for t in whole.root.xpath("//@*[local-name()='href']")}
    assert targets <= set(ids)
    write(whole)


boxes = st.builds(
    Box, *(st.floats(-100, 100) for _ in range(2)), *(st.floats(0.01, 100) for _ in range(2))
)


@given(boxes, boxes, st.floats(0, 50))
def test_meeting_is_mutual_and_moving_away_ends_it(one, other, gap):
    assert one.meets(other, gap) == other.meets(one, gap)
    assert one.meets(one)
    apart = Box(one.right + gap + 0.5, other.y, other.width, other.height)
    assert not one.meets(apart, gap)
