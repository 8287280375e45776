"""Engraved pages made into finished pictures: marks drawn over the music, heading, legend.

The texts of the marks are lyrics to the engraver: it makes room for each and sets every row on
one line, so that no two touch. What is drawn here is what a lyric cannot be: the box round the
letter of an open string, the ring round the letter of a match group, grey for the notes that
step back, and a title on each note for tooltips and screen readers.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from lxml import etree

from skeleton.analysis.results import Analysis
from skeleton.export.engraving.engraver import STAFF_UNITS, Engraver, Layout
from skeleton.export.engraving.svg import (
    SVG,
    Element,
    Page,
    grow,
    marks_layer,
    open_page,
    scaled,
    write,
)
from skeleton.export.engraving.svg_edit import add_titles, colour_notes, describe, join, name_ids
from skeleton.export.engraving.typeface import text_width
from skeleton.export.lists.words import anchor_text, pitch_text
from skeleton.export.marking.label_rows import settle
from skeleton.export.marking.marks import NO_BREAK_SPACE, Label, Marks
from skeleton.export.marking.splice import LIGHT

PAGE_WIDTH_MM: Final = 190.0
"""Width of the music: A4 with margins of 10 mm. Letter paper is wider."""

PAGE_HEIGHT_MM: Final = 277.0
"""Height of a page: A4 with margins of 10 mm."""

_MARGIN_MM: Final = 3.0
"""Room at the left of a line for its measure number, which hangs over the clef."""

_SYSTEM_MARGIN_MM: Final = 0.8
"""Room above and below a line of music; :data:`_GAP` comes between two."""

_SPACE: Final = STAFF_UNITS / 4
"""The distance of two staff lines, the measure of everything drawn here."""

_GAP: Final = 1.5 * _SPACE
_SMALLEST: Final = 0.87  # staves of 6.1 mm, where that saves a second page
_LONGEST_STEM: Final = 4 * STAFF_UNITS
_STROKE: Final = 0.13 * _SPACE
_INK: Final = "#000000"


@dataclass(frozen=True, slots=True)
class Heading:
    """Lines over the first page: what it is, what it was made from, what the marks mean."""

    title: str
    subtitle: str
    legend: tuple[str, ...] = ()


def engrave_marked(
    engraver: Engraver,
    root: Element,
    analysis: Analysis,
    marks: Marks,
    *,
    heading: Heading,
    description: str,
    single: bool = False,
    stretch_last: bool = False,
    height_mm: float = PAGE_HEIGHT_MM,
    expect_ids: Sequence[str] = (),
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Engrave a tree whose notes carry ids and labels, and draw the marks.

    Args:
        engraver: a running engraver.
        root: partwise MusicXML with line breaks encoded.
        analysis: for the words on the notes.
        marks: labels that stand in the tree as lyrics, and the notes that step back.
        heading: what to write over the first page.
        description: a sentence on what the picture shows.
        single: one tall picture instead of pages.
        stretch_last: fill the last line.
        height_mm: height of a page.
        expect_ids: notes that must be drawn.

    Returns:
        One SVG text for each page, and the expected notes that were not drawn.

    Raises:
        EngravingError: the engraver failed.
    """
    systems, missing = engrave_systems(
        engraver,
        root,
        analysis,
        marks,
        layout=Layout(
            page_width_mm=PAGE_WIDTH_MM,
            margin_mm=_MARGIN_MM,
            breaks="line",
            systems_per_page=1,
            stretch_last=stretch_last,
        ),
        titles=_titles(analysis, {note.get("id") for note in root.iter("note")}),
        expect_ids=expect_ids,
    )
    height = height_mm / systems[0].unit_mm
    whole = sum(system.frame.height + _GAP for system in systems) - _GAP + _heading_height(heading)
    if single or whole * _SMALLEST <= height:
        pages = _paged(systems, heading, None)
        if not single and whole > height:
            pages = [scaled(pages[0], height / pages[0].frame.height)]
    else:
        pages = _paged(systems, heading, height)
    for page in pages:
        describe(page, heading.title, description, role="group")
    return tuple(write(page) for page in pages), missing


def engrave_systems(
    engraver: Engraver,
    root: Element,
    analysis: Analysis,
    marks: Marks,
    *,
    layout: Layout,
    titles: Mapping[str, str],
    expect_ids: Sequence[str] = (),
) -> tuple[list[Page], tuple[str, ...]]:
    """Engrave a tree whose notes carry ids and labels line by line, and draw the marks.

    Args:
        engraver: a running engraver.
        root: partwise MusicXML with line breaks encoded.
        analysis: for the name of the score.
        marks: labels that stand in the tree as lyrics, and the notes that step back.
        layout: how to lay it out; one system a page.
        titles: one line on each note, for tooltips and screen readers.
        expect_ids: notes that must be drawn.

    Returns:
        One page for each line of music, and the expected notes that were not drawn.

    Raises:
        EngravingError: the engraver failed.
    """
    labels: dict[str, list[Label]] = {}
    for label in marks.labels:
        labels.setdefault(label.note, []).append(label)
    trim = max(0.0, layout.margin_mm - _SYSTEM_MARGIN_MM) / layout.unit_mm
    systems: list[Page] = []
    runs_away = False

    def finish(svg: str) -> None:  # while the engraver draws the next line
        nonlocal runs_away
        page = open_page(svg, layout.unit_mm, ("note", "stem"))
        runs_away = runs_away or _runs_away(page)
        systems.append(_system(page, marks.light, labels, titles, trim))

    for padded in (None, "note[grace]/lyric/text", "note/lyric/text"):
        systems.clear()
        runs_away = False
        engraved = engraver.engrave(
            _with_room(root, padded),
            layout,
            expect_ids=expect_ids,
            name=analysis.score.source.name,
            checked=True,
            on_page=finish,
        )
        if not runs_away:
            break
    return systems, engraved.missing


def _runs_away(page: Page) -> bool:
    """Whether a stem is longer than any stem is.

    Verovio 6.4 draws the stems of a beam to the edge of the page where a grace note inside the
    beam carries a lyric of a certain width.
    """
    return any(d.kind == "stem" and d.box.height > _LONGEST_STEM for d in page.drawn)


def _with_room(root: Element, texts: str | None) -> str:
    """Return the tree as text; with a space behind some of its lyrics, for another spacing."""
    if texts is not None:
        root = deepcopy(root)
        for text in root.iterfind(f"part/measure/{texts}"):
            text.text = (text.text or "") + NO_BREAK_SPACE
    return etree.tostring(root, encoding="unicode")


def _system(
    page: Page,
    light: frozenset[str],
    labels: Mapping[str, Sequence[Label]],
    titles: Mapping[str, str],
    trim: float,
) -> Page:
    """Draw the marks of one line of music, and cut its margins above and below."""
    here = set(page.noteheads())
    colour_notes(page, dict.fromkeys(light & here, LIGHT))
    add_titles(page, {note: titles[note] for note in here & titles.keys()})
    layer = marks_layer(page)
    for frame in settle(page, labels):
        box = frame.box
        size = {"x": box.x, "y": box.y, "width": box.width, "height": box.height}
        _shape(layer, "rect", **size, **({"rx": frame.radius} if frame.radius else {}))
    name_ids(page, here)
    return grow(page, top=-trim, bottom=-trim)


def _shape(layer: Element, tag: str, **numbers: float) -> None:
    # A style, since the engraver's own style sheet outranks attributes.
    style = f"fill:none;stroke:{_INK};stroke-width:{_STROKE:g}"
    attributes = {name: f"{value:.1f}" for name, value in numbers.items()}
    etree.SubElement(layer, f"{{{SVG}}}{tag}", {**attributes, "style": style})


def _titles(analysis: Analysis, drawn: Collection[str | None]) -> dict[str, str]:
    """One line on each of some notes that the analysis speaks of."""
    titles: dict[str, str] = {}
    for found in analysis.parts:
        groups = {note: group.label for group in found.matches for note in group.notes}
        for note in found.skeleton:
            if note.place.id not in drawn:
                continue
            named = note.open_string
            as_string = f", same name as open {pitch_text(named, signs=True)}" if named else ""
            titles[note.place.id] = f"{pitch_text(note.place.pitch, signs=True)}{as_string}"
        for accidental in found.accidentals:
            place = accidental.place
            if place.id not in drawn:
                continue
            group = f", group {groups[place.id]}" if place.id in groups else ""
            titles[place.id] = (
                f"{pitch_text(place.pitch, signs=True)}, "
                f"{anchor_text(accidental.anchor, signs=True)}{group}"
            )
    return titles


def _paged(systems: Sequence[Page], heading: Heading, height: float | None) -> list[Page]:
    """Stack the lines of music into pages; the heading goes over the first.

    There are as few pages as can be, all of them about as full: no page ends with a lone line
    because the one before it was filled to the brim.
    """
    first = _heading_height(heading)
    heights = [system.frame.height + _GAP for system in systems]
    begins = [0] if height is None else _page_begins(heights, first, height)
    joined = [join(systems[begin:end], _GAP) for begin, end in pairwise([*begins, len(systems)])]
    return [_with_heading(joined[0], heading), *joined[1:]]


def _page_begins(heights: Sequence[float], first: float, height: float) -> list[int]:
    """Which lines begin a page: the lowest pages of which no more are needed."""
    begins = _filled_pages(heights, first, height)
    low, high = 0.0, height
    while high - low > 1.0:
        middle = (low + high) / 2
        found = _filled_pages(heights, first, middle)
        if len(found) > len(begins):
            low = middle
        else:
            begins, high = found, middle
    return begins


def _filled_pages(heights: Sequence[float], first: float, height: float) -> list[int]:
    begins, filled = [0], first
    for index, needed in enumerate(heights):
        if index > begins[-1] and filled + needed - _GAP > height:
            begins.append(index)
            filled = 0.0
        filled += needed
    return begins


def _heading_height(heading: Heading) -> float:
    return (3.4 + 2.2 + 1.9 * len(heading.legend) + 1.0) * _SPACE


def _with_heading(page: Page, heading: Heading) -> Page:
    top = page.frame.y - _heading_height(heading)
    page = grow(page, top=_heading_height(heading))
    group = etree.SubElement(page.root, f"{{{SVG}}}g", {"class": "heading"})
    x = page.frame.x + _MARGIN_MM / page.unit_mm
    y = top + 2.4 * _SPACE
    _write_line(group, heading.title, x, y, 2.6 * _SPACE, bold=True)
    y += 2.2 * _SPACE
    _write_line(group, heading.subtitle, x, y, 1.5 * _SPACE)
    for line in heading.legend:
        y += 1.9 * _SPACE
        _write_line(group, line, x, y, 1.4 * _SPACE)
    return page


def _write_line(
    group: Element, line: str, x: float, y: float, size: float, *, bold: bool = False
) -> None:
    room = (PAGE_WIDTH_MM - 2 * _MARGIN_MM) / Layout().unit_mm
    width = text_width(line, size, bold=bold)
    text = etree.SubElement(
        group,
        f"{{{SVG}}}text",
        {"x": f"{x:.1f}", "y": f"{y:.1f}", "font-size": f"{min(size, size * room / width):.1f}px"},
    )
    if bold:
        text.set("font-weight", "bold")
    text.text = line
