"""The pictures a teacher hands out: nothing touches, nothing is lost, bar stands under bar.

What is checked by boxes: labels against labels, frames, heads, stems, beams, signs, dynamics,
clefs, barlines, and the edges of the page; all other texts against each other and the heads.
Boxes of slurs and of slanted hairpins are much larger than their ink and are not compared.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, read_lesson
from skeleton.analysis.results import Analysis
from skeleton.export.engraving import picture
from skeleton.export.engraving.engraver import Engraver
from skeleton.export.engraving.picture import PAGE_HEIGHT_MM, PAGE_WIDTH_MM
from skeleton.export.engraving.svg import SVG, Box, Page, of_class, open_page
from skeleton.export.engraving.svg_text import placed_elements, placed_texts
from skeleton.export.marking.label_rows import LABEL_GAP_UNITS, WORDS_GAP_UNITS, spread
from skeleton.export.marking.marks import marks
from skeleton.export.marking.splice import LIGHT
from skeleton.export.views import VIEWS, Pictures, View, pictures
from skeleton.score.reading import read, read_bytes

SCORES = Path(__file__).parents[2] / "scores"
DEMOS = sorted(path.name for path in SCORES.iterdir() if path.suffix in {".musicxml", ".mxl"})

ROUNDING_UNITS = 1.0
"""Coordinates are written with one decimal."""

CLEAR_OF = {"stem", "beam", "accid", "dynam", "clef", "barLine", "note", "rest", "flag", "dots",
            "artic", "fermata"}  # fmt: skip
"""What the engraver drew that no label may touch."""

Systems = list[Page]
Draw = Callable[..., tuple[Pictures, Systems]]


@pytest.fixture(scope="module")
def engraver() -> Iterator[Engraver]:
    with Engraver() as running:
        yield running


@pytest.fixture
def draw(engraver: Engraver, monkeypatch: pytest.MonkeyPatch) -> Draw:
    """Return a function that draws a view and gives its lines of music as well, boxes and all."""
    kept: Systems = []
    stack = picture._paged

    def paged(systems: Systems, *rest: object) -> list[Page]:
        # What is drawn on them moves to the pages.
        kept[:] = [replace(page, root=deepcopy(page.root)) for page in systems]
        return stack(systems, *rest)

    monkeypatch.setattr(picture, "_paged", paged)
    monkeypatch.setattr(picture, "open_page", lambda svg, unit_mm, _: open_page(svg, unit_mm))

    def run(found: Analysis, view: View, **options: bool) -> tuple[Pictures, Systems]:
        return pictures(found, view, engraver, **options), list(kept)

    return run


def demo(name: str) -> Analysis:
    path = SCORES / name
    lesson = path.with_suffix(".toml")
    return analyse(read(path), read_lesson(lesson) if lesson.exists() else Lesson())


def frames(page: Page) -> list[Box]:
    """The boxes and rings round letters."""
    return [
        Box(*(float(rect.get(side, "0")) for side in ("x", "y", "width", "height")))
        for layer in of_class(page.root, "marks")
        for rect in layer.iter(f"{{{SVG}}}rect")
    ]


def around(inner: Box, outer: Box) -> bool:
    """Whether a frame is that of a letter of this text: same line, and round a part of it."""
    return (
        abs(inner.centre[1] - outer.centre[1]) < 60
        and outer.x < inner.right
        and inner.x < outer.right
    )


def inside(box: Box, frame: Box) -> bool:
    return (
        box.x >= frame.x
        and box.right <= frame.right
        and box.y >= frame.y
        and box.bottom <= frame.bottom
    )


def check_page(page: Page, *, in_words: bool = False) -> None:
    texts = placed_texts(page)
    labels = [text for text in texts if text.kind == "syl"]
    framed = frames(page)
    heads = page.noteheads()
    assert heads
    for text in texts:
        assert inside(text.box, page.frame), f"{text.text!r} leaves the page"
        for note, head in heads.items():
            assert not text.box.meets(head), f"{text.text!r} covers {note}"
    for one, other in combinations(texts, 2):
        assert not one.box.meets(other.box), f"{one.text!r} touches {other.text!r}"
    for one, other in combinations(labels, 2):
        if abs(one.y - other.y) < 1:  # one row
            gap = WORDS_GAP_UNITS if in_words and " " in one.text else LABEL_GAP_UNITS
            assert not one.box.meets(other.box, gap - ROUNDING_UNITS), (
                f"{one.text!r} is too close to {other.text!r}"
            )
    for one, other in combinations(framed, 2):
        assert not one.meets(other)
    for frame in framed:
        assert inside(frame, page.frame)
        for text in texts:
            assert around(text.box, frame) or not frame.meets(text.box), text.text
    solid = [(item.kind, item.box) for item in page.drawn if item.kind in CLEAR_OF]
    assert {"note", "barLine"} <= {kind for kind, _ in solid}
    for box in [text.box for text in labels] + framed:
        for kind, other in solid:
            assert not box.meets(other), f"a label touches a {kind}"


def measures_per_line(systems: Systems) -> list[int]:
    return [sum(1 for _ in of_class(page.root, "measure")) for page in systems]


def check_closed(svg: str) -> None:
    """Well-formed, nothing that runs, nothing from elsewhere."""
    root = etree.fromstring(svg.encode("utf-8"))
    assert not [e for e in root.iter(etree.Element) if etree.QName(e).localname == "script"]
    for element in root.iter(etree.Element):
        for key, value in element.attrib.items():
            name = etree.QName(key).localname
            assert not name.startswith("on")
            assert name not in {"href", "src"} or value.startswith("#")
    bare = re.sub(r"url\(['\"]?data:[^)]*\)|xmlns(:\w+)?=\"[^\"]*\"", "", svg)
    text = "".join(root.itertext())
    assert "url(" not in bare
    assert not re.search(r"(href|src)=.{0,2}https?:", bare)
    assert "@import" not in text


# --- the demo etudes


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("name", DEMOS)
def test_nothing_touches_and_nothing_is_lost(draw: Draw, name: str, view: View) -> None:
    found = demo(name)
    drawn, systems = draw(found, view)
    assert not [notice for notice in drawn.notices if notice.code == "not-drawn"]
    for page in systems:
        check_page(page)
    for svg in drawn.pages:
        check_closed(svg)
    ids = set(re.findall(r'\sid="([^"]+)"', "".join(drawn.pages)))
    if view in {"all", "annotated"}:
        for part in found.parts:
            assert {note.place.id for note in part.skeleton} <= ids
            assert {note.place.id for note in part.accidentals} <= ids
    for svg in drawn.pages:
        root = etree.fromstring(svg.encode("utf-8"))
        assert float(root.get("width").removesuffix("mm")) <= PAGE_WIDTH_MM + 0.01
        assert float(root.get("height").removesuffix("mm")) <= PAGE_HEIGHT_MM + 0.01


@pytest.mark.parametrize("name", DEMOS)
def test_labels_in_words(draw: Draw, name: str) -> None:
    found = demo(name)
    drawn, systems = draw(found, "annotated", in_words=True)
    said = [text.text for page in systems for text in placed_texts(page) if text.kind == "syl"]
    assert any(text.startswith("half step below ") for text in said)
    for page in systems:
        check_page(page, in_words=True)
    assert "−½" not in "".join(
        "".join(etree.fromstring(svg.encode()).itertext()) for svg in drawn.pages
    )


@pytest.mark.parametrize("name", DEMOS)
def test_bar_stands_under_bar(draw: Draw, name: str) -> None:
    found = demo(name)
    lines = {view: measures_per_line(draw(found, view)[1]) for view in VIEWS}
    assert len(set(map(tuple, lines.values()))) == 1
    assert sum(lines["bare"]) == len(found.score.parts[0].measures)


def test_every_label_is_drawn_once_in_the_middle_under_its_note(draw: Draw) -> None:
    """Where there is room: the middle of a label and that of its head are one."""
    found = demo("first-skeleton.musicxml")
    _, systems = draw(found, "annotated")
    wanted = sorted((label.note, label.line) for label in marks(found).labels)
    got = []
    centred = total = 0
    for page in systems:
        heads = page.noteheads()
        for _, text in placed_elements(page):
            if text.kind == "syl" and text.note is not None:
                got.append((text.note, text.text.strip()))
                total += 1
                centred += abs(text.box.centre[0] - heads[text.note].centre[0]) < 2
    assert sorted(got) == wanted
    assert centred > 0.8 * total


def test_the_same_music_gives_the_same_bytes() -> None:
    found = demo("first-skeleton.musicxml")
    assert pictures(found, "annotated").pages == pictures(found, "annotated").pages


def test_open_string_notes_are_boxed_and_others_are_not(draw: Draw) -> None:
    found = demo("first-skeleton.musicxml")
    kept = [label for label in marks(found).labels if label.row == "string" and label.kept]
    groups = [label for label in marks(found).labels if label.row == "group"]
    _, systems = draw(found, "all")
    assert sum(len(frames(page)) for page in systems) == sum(len(label.texts) for label in kept)
    _, systems = draw(found, "annotated")
    assert sum(len(frames(page)) for page in systems) == sum(
        len(label.texts) for label in (*kept, *groups)
    )


def test_skeleton_is_black_and_the_rest_grey(draw: Draw) -> None:
    found = demo("first-skeleton.musicxml")
    light = marks(found).light
    assert light
    _, systems = draw(found, "all")
    for page in systems:
        for note in of_class(page.root, "note"):
            head = next(of_class(note, "notehead"))
            assert (head.get("color") == LIGHT) == (note.get("id") in light)
    _, systems = draw(found, "bare")
    assert not [e for page in systems for e in page.root.iter() if e.get("color") == LIGHT]


# --- denser music than any etude


def dense(write_etude, fifths: int, metre: str, length: str, count: int, *, bars: int) -> Analysis:
    """A sign on every note, slurred in pairs, half steps and wilder leaps mixed."""
    names = ["F##", "G#", "C##", "D#", "G##", "A#", "E#", "F#", "B#", "C#", "Gb", "F", "Bbb", "A"]
    dice = random.Random(7)
    rows = []
    for _ in range(bars):
        start = dice.randrange(0, len(names), 2)
        row = [names[(start + place) % len(names)] for place in range(count)]
        rows.append(
            " ".join(
                f"{name}{dice.choice('445')}:{length}{'()'[place % 2]}"
                for place, name in enumerate(row)
            )
        )
    return analyse(
        read_bytes(write_etude("|".join(rows), metre=metre, fifths=fifths), "dense.musicxml")
    )


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize(
    ("fifths", "metre", "length", "count"),
    [(6, "4/4", "1/4", 16), (6, "2/4", "1/8", 16), (-6, "6/8", "1/4", 12), (6, "4/4", "1/8", 32)],
)
def test_dense_music(  # noqa: PLR0917 - pytest gives keywords
    write_etude, draw: Draw, fifths: int, metre: str, length: str, count: int, view: View
) -> None:
    found = dense(write_etude, fifths, metre, length, count, bars=4)
    _, systems = draw(found, view)
    for page in systems:
        check_page(page)


def test_dense_music_in_words_becomes_small_before_it_touches(write_etude, draw: Draw) -> None:
    found = dense(write_etude, 6, "4/4", "1/4", 16, bars=2)
    _, systems = draw(found, "annotated", in_words=True)
    for page in systems:
        check_page(page, in_words=True)


# --- pages


def long_etude(write_etude, bars: int) -> Analysis:
    bar = "C#5:1/4( D5:1/4) E#4:1/4( F#4:1/4) G#4:1/4( A4:1/4) A#4:1/4( B4:1/4)"
    return analyse(read_bytes(write_etude("|".join([bar] * bars), metre="2/4"), "long.musicxml"))


def test_pages_are_about_as_full(write_etude, draw: Draw) -> None:
    drawn, systems = draw(long_etude(write_etude, 80), "annotated")
    assert len(drawn.pages) > 1
    heights = [
        float(etree.fromstring(svg.encode()).get("height").removesuffix("mm"))
        for svg in drawn.pages
    ]
    line = max(page.frame.height * page.unit_mm for page in systems)
    assert max(heights) <= PAGE_HEIGHT_MM
    assert max(heights) - min(heights) <= 2 * line
    single, _ = draw(long_etude(write_etude, 80), "annotated", single=True)
    assert len(single.pages) == 1


def test_a_page_a_little_too_long_is_made_smaller(draw: Draw) -> None:
    found = demo("flat-side-in-e-flat.musicxml")
    drawn, systems = draw(found, "annotated")
    (page,) = drawn.pages
    assert len(systems) > 6
    root = etree.fromstring(page.encode())
    assert PAGE_WIDTH_MM * 0.85 < float(root.get("width").removesuffix("mm")) <= PAGE_WIDTH_MM
    assert float(root.get("height").removesuffix("mm")) <= PAGE_HEIGHT_MM + 0.01


# --- what files may hold


def test_hostile_names_stay_text(write_etude, draw: Draw) -> None:
    evil = '&lt;script&gt;alert("1")&lt;/script&gt; &amp; https://example.org/x'
    text = write_etude("C#5:1( D5:1)", metre="2/4").decode()
    text = text.replace("<part-list>", f"<movement-title>{evil}</movement-title><part-list>")
    text = text.replace(">Violin<", f">Violin {evil}<")
    text = text.replace("</note>", f'<lyric number="1"><text>{evil}</text></lyric></note>', 1)
    found = analyse(read_bytes(text.encode(), "a<b>&'\".musicxml"))
    for view in VIEWS:
        drawn, _ = draw(found, view)
        for svg in drawn.pages:
            check_closed(svg)
            assert "alert" in "".join(etree.fromstring(svg.encode()).itertext())


def test_sung_words_that_read_like_a_label_are_left_alone(write_etude, draw: Draw) -> None:
    text = write_etude("A4:1 B4:1", metre="2/4").decode()
    text = text.replace("</note>", "<lyric><text>A</text></lyric></note>", 1)
    _, (page,) = draw(analyse(read_bytes(text.encode(), "sung.musicxml")), "all")
    above, below = sorted(
        (t for t in placed_texts(page) if t.kind == "syl"), key=lambda text: text.y
    )
    (frame,) = frames(page)
    assert around(above.box, frame)
    assert not frame.meets(below.box)


def test_a_part_without_skeleton_is_drawn_with_a_word(write_etude, draw: Draw) -> None:
    drawn, _ = draw(analyse(read_bytes(write_etude("C5:4"), "x.musicxml")), "bare")
    assert [notice.code for notice in drawn.notices] == ["empty-reduction"]
    assert len(drawn.pages) == 1


# --- spreading labels


@given(
    st.lists(st.tuples(st.floats(0, 1000), st.floats(1, 90)), min_size=1, max_size=12),
    st.floats(0, 20),
)
def test_spread_keeps_order_distance_and_edges(
    things: list[tuple[float, float]], gap: float
) -> None:
    things = sorted(things)
    widths = [width for _, width in things]
    needed = sum(widths) + gap * (len(widths) - 1)
    high = max(1000.0, needed)
    edges = spread([edge for edge, _ in things], widths, gap, 0.0, high)
    assert edges[0] >= 0
    assert edges[-1] + widths[-1] <= high + 1e-6
    for (left, width), right in zip(zip(edges, widths, strict=True), edges[1:], strict=False):
        assert left + width + gap <= right + 1e-6


@given(st.lists(st.floats(0, 1000), min_size=1, max_size=8, unique=True))
def test_spread_leaves_what_has_room(edges: list[float]) -> None:
    edges = sorted(edges)
    width = min([b - a for a, b in pairwise(edges)] or [1.0]) / 2
    assert spread(edges, [width] * len(edges), 0.0, 0.0, 2000.0) == pytest.approx(edges, abs=1e-6)


def test_spread_shares_a_conflict() -> None:
    """Two labels that want one place move by the same amount: least squares."""
    assert spread([100.0, 100.0], [20.0, 20.0], 10.0, 0.0, 1000.0) == [85.0, 115.0]
