"""The score with the marks of a take: rings round heads, arrows under the staff, a legend."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Final

from skeleton.errors import OptionError
from skeleton.export.engraving.engraver import STAFF_UNITS, Engraver, Layout
from skeleton.export.engraving.headed import MARGIN_MM, headed
from skeleton.export.engraving.measure_range import measure_range
from skeleton.export.engraving.picture import PAGE_WIDTH_MM, engrave_systems
from skeleton.export.engraving.svg import SVG, Box, Element, Page, marks_layer, write
from skeleton.export.engraving.svg_edit import describe, join
from skeleton.export.engraving.systems import line_breaks
from skeleton.export.engraving.tree_edit import (
    hide_part_name,
    keep_parts,
    part_tempo_words,
    set_line_breaks,
)
from skeleton.export.lists.listen_text import reference_text, verdict_text
from skeleton.export.lists.words import one_line
from skeleton.export.marking.annotation import annotated_bytes, annotated_root
from skeleton.export.marking.listen_marks import LEGEND, TakeMark, marks_as_labels, take_marks
from skeleton.export.marking.marks import Marks
from skeleton.export.marking.marks import marks as full_marks
from skeleton.export.take.words import take_words
from skeleton.listening.report import TakeReport
from skeleton.score.model import Notice

_SPACE: Final = STAFF_UNITS / 4
_GAP: Final = 1.2 * _SPACE
_STROKE: Final = 0.2 * _SPACE
_DASHES: Final = f"{0.55 * _SPACE:g} {0.4 * _SPACE:g}"


def marked_picture(
    report: TakeReport, take: str, engraver: Engraver | None = None
) -> tuple[str, tuple[Notice, ...]]:
    """Engrave the measures that were listened for, with the marks of the take.

    Args:
        report: the take judged.
        take: its name, for the heading.
        engraver: a running engraver; one is started and ended where None.

    Returns:
        One SVG text, all lines under each other, and what was odd.

    Raises:
        EngravingError: the engraver failed.
    """
    if engraver is None:
        with Engraver() as own:
            return marked_picture(report, take, own)
    systems, _, missing = take_systems(report, engraver)
    page = join(systems, _GAP)
    score, english = report.analysis.score, take_words("en")
    title = score.title or score.source.name
    page = headed(
        page,
        (f"{one_line(title)} · {one_line(take)}", reference_text(report, english), *LEGEND),
    )
    sides = [mark.side for mark in take_marks(report)]
    low, high = sides.count("low"), sides.count("high")
    describe(
        page,
        f"{one_line(title)}, marks of {one_line(take)}",
        f"Engraved music with {low} notes marked low and {high} marked high.",
        role="group",
    )
    lost = f"the engraver left out {len(missing)} marked notes: {', '.join(missing[:3])}"
    return write(page), (Notice("not-drawn", lost),) if missing else ()


def take_systems(
    report: TakeReport, engraver: Engraver, width_mm: float = PAGE_WIDTH_MM, *, marked: bool = True
) -> tuple[list[Page], tuple[tuple[int, int], ...], tuple[str, ...]]:
    """Engrave the measures that were listened for, line by line.

    Args:
        report: the take judged.
        engraver: a running engraver.
        width_mm: width of the music.
        marked: with the marks of the take; else the bare page, for the listener's own.

    Returns:
        The lines; the ordinals of the first and last measure of each; ids of marked notes that
        the engraver left out.

    Raises:
        EngravingError: the engraver failed.
    """
    analysis = replace(report.analysis, parts=(report.part,))
    labels = marks_as_labels(report) if marked else Marks((), frozenset())
    first, last = report.first_measure, report.last_measure
    lines = line_breaks(analysis, full_marks(analysis), width_mm, first, last)
    root = annotated_root(analysis.score, labels)
    keep_parts(root, {report.part.part})
    set_line_breaks(root, lines.begins)
    hide_part_name(root)
    part_tempo_words(root)
    if (first, last) != (0, len(analysis.score.part(report.part.part).measures) - 1):
        root = measure_range(root, first, last)
    found = {mark.note: mark for mark in take_marks(report)} if marked else {}
    systems, missing = engrave_systems(
        engraver,
        root,
        analysis,
        labels,
        layout=Layout(
            page_width_mm=width_mm,
            margin_mm=MARGIN_MM,
            breaks="line",
            systems_per_page=1,
            stretch_last=lines.last_is_full,
        ),
        titles={one.note: verdict_text(one, report, take_words("en")) for one in report.notes}
        if marked
        else {},
        expect_ids=list(found),
    )
    for system in systems:
        _rings(system, found)
    edges = [first, *lines.begins, last + 1]
    spans = tuple((begin, end - 1) for begin, end in pairwise(edges))
    if len(spans) != len(systems):
        # A line too full is broken again by nobody but the engraver: name the whole.
        spans = ((first, last),) * len(systems)
    return systems, spans, missing


def marked_musicxml(report: TakeReport) -> tuple[bytes, tuple[Notice, ...]]:
    """Return the score's own bytes with the arrows as lyrics under the notes.

    Raises:
        OptionError: there is nothing to mark.
    """
    labels = marks_as_labels(report)
    if not labels.labels:
        raise OptionError("no note of the take is off or in doubt; there is nothing to mark")
    data, _, notices = annotated_bytes(report.analysis.score, Marks(labels.labels, frozenset()))
    return data, notices


def _rings(page: Page, found: dict[str, TakeMark]) -> None:
    layer = marks_layer(page)
    for note, box in page.noteheads().items():
        mark = found.get(note)
        if mark is not None and mark.side != "unsure":
            _ring(layer, box, dashed=mark.side == "high")


def _ring(layer: Element, box: Box, *, dashed: bool) -> None:
    x, y = box.centre
    # A style, since the engraver's own style sheet outranks attributes.
    style = f"fill:none;stroke:#000000;stroke-width:{_STROKE:g}"
    if dashed:
        style += f";stroke-dasharray:{_DASHES}"
    layer.append(
        layer.makeelement(
            f"{{{SVG}}}ellipse",
            {
                "cx": f"{x:.1f}",
                "cy": f"{y:.1f}",
                "rx": f"{box.width / 2 + 0.5 * _SPACE:.1f}",
                "ry": f"{box.height / 2 + 0.45 * _SPACE:.1f}",
                "class": "high" if dashed else "low",
                "style": style,
            },
        )
    )
