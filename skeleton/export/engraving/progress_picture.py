"""The etude with its habitual errors: what prints in black and white and is read at a glance.

Behind a head lies a shade, the darker the more often that note was off; round it a ring where that
is no chance, of the note or of its match group: solid for low, dashed for high, as in the picture
of one take. Under the note stands what is usual: an arrow with cents, or ± where it is now high,
now low.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from skeleton.analysis.results import Analysis
from skeleton.errors import JournalError
from skeleton.export.engraving.engraver import STAFF_UNITS, Engraver, Layout
from skeleton.export.engraving.headed import MARGIN_MM, headed
from skeleton.export.engraving.picture import PAGE_WIDTH_MM, engrave_systems
from skeleton.export.engraving.svg import SVG, Box, Element, marks_layer, write
from skeleton.export.engraving.svg_edit import describe, join
from skeleton.export.engraving.systems import line_breaks
from skeleton.export.engraving.tree_edit import hide_part_name, set_line_breaks
from skeleton.export.lists.outline_text import title_of
from skeleton.export.lists.progress_text import cents_text, condition_text
from skeleton.export.lists.words import counted, one_line
from skeleton.export.marking.annotation import annotated_root
from skeleton.export.marking.marks import Label, Marks, columns
from skeleton.export.marking.marks import marks as full_marks
from skeleton.journal.habits import Finding
from skeleton.journal.progress import Progress, spoken_for
from skeleton.score.model import Notice

LEGEND: Final = (
    "shade: how often it was off, a quarter of the times, half, three quarters or more",
    "solid ring, ↓: low again and again; dashed ring, ↑: high; without a ring it may be chance",
    "the number: cents, as usual; ±: now high, now low",
)
"""What the marks mean, in the words of a student."""

_SPACE: Final = STAFF_UNITS / 4
_SHADES: Final = ((0.75, 0.55), (0.5, 0.36), (0.25, 0.18))
"""From which share of times off on how much black; told apart in print down to 300 dpi (a choice of
this program)."""


@dataclass(frozen=True, slots=True)
class HeatMark:
    """The mark of one note: its shade, 0 to 1 of black, a ring or none, and the text under it."""

    shade: float
    ring: str | None
    text: str
    title: str


def heat_marks(record: Progress) -> dict[str, HeatMark]:
    """Return the marks by note id; notes that were hardly ever off, or have healed, have none."""
    found = {}
    doubtless = spoken_for(record)
    for note in record.notes:
        one = note.finding
        sure = doubtless.get(note.place.id, one)
        off = one.flat + one.sharp
        judged = off + one.in_tune
        share = off / judged if judged else 0.0
        shade = next((black for least, black in _SHADES if share >= least), 0.0)
        if one.condition == "healed":
            shade = 0.0
        text = _under(one)
        if shade or text:
            ring = sure.direction if sure.condition in ("habit", "getting worse") else None
            title = f"{note.place.pitch}: {condition_text(sure)}, {cents_text(one.median_cents)}"
            found[note.place.id] = HeatMark(shade, ring, text, title)
    return found


def heat_picture(
    analysis: Analysis, record: Progress, engraver: Engraver | None = None
) -> tuple[str, tuple[Notice, ...]]:
    """Engrave the etude with the habitual errors of one student.

    Args:
        analysis: the etude.
        record: of the student.
        engraver: a running engraver; one is started and ended where None.

    Returns:
        One SVG text, all lines under each other, and what was odd.

    Raises:
        EngravingError: the engraver failed.
        JournalError: nothing was ever off, so there is nothing to show.
    """
    if engraver is None:
        with Engraver() as own:
            return heat_picture(analysis, record, own)
    found = heat_marks(record)
    if not found:
        raise JournalError(f"nothing in the record of {record.student} is off; nothing to draw")
    labels = _labels(analysis, found)
    root = annotated_root(analysis.score, labels)
    set_line_breaks(root, line_breaks(analysis, full_marks(analysis), PAGE_WIDTH_MM).begins)
    hide_part_name(root)
    systems, missing = engrave_systems(
        engraver,
        root,
        analysis,
        labels,
        layout=Layout(
            page_width_mm=PAGE_WIDTH_MM, margin_mm=MARGIN_MM, breaks="line", systems_per_page=1
        ),
        titles={note: mark.title for note, mark in found.items()},
        expect_ids=list(found),
    )
    for system in systems:
        layer = marks_layer(system)
        for note, box in system.noteheads().items():
            if note in found:
                _mark(layer, box, found[note])
    page = join(systems, 1.2 * _SPACE)
    span = f"{counted(record.takes, 'take')}, {record.first_day} to {record.last_day}"
    title = f"{one_line(title_of(analysis))} · {one_line(record.student)}"
    page = headed(page, (title, span, *LEGEND))
    describe(page, title, f"Engraved music with {len(found)} notes shaded.", role="group")
    lost = f"the engraver left out {len(missing)} marked notes: {', '.join(missing[:3])}"
    return write(page), (Notice("not-drawn", lost),) if missing else ()


def _under(found: Finding) -> str:
    if found.condition == "unsteady":
        return "±"
    if found.condition not in ("habit", "getting worse", "perhaps"):
        return ""
    arrow = "↓" if found.direction == "flat" else "↑"
    return f"{arrow}{max(1, round(abs(found.median_cents)))}"


def _labels(analysis: Analysis, found: Mapping[str, HeatMark]) -> Marks:
    heads: dict[str, str] = {}
    for part in analysis.parts:
        heads |= columns(analysis.score.part(part.part))
    texts: dict[str, list[str]] = {}
    for note, mark in found.items():
        if mark.text:
            texts.setdefault(heads.get(note, note), []).append(mark.text)
    labels = tuple(Label("lean", head, tuple(said)) for head, said in texts.items())
    return Marks(labels, frozenset())


def _mark(layer: Element, box: Box, mark: HeatMark) -> None:
    # A style, since the engraver's own style sheet outranks attributes.
    if mark.shade:
        style = f"fill:#000000;fill-opacity:{mark.shade:g};stroke:none"
        _ellipse(layer, box, 0.75, "shade", style)
    if mark.ring is not None:
        style = f"fill:none;stroke:#000000;stroke-width:{0.2 * _SPACE:g}"
        if mark.ring == "sharp":
            style += f";stroke-dasharray:{0.55 * _SPACE:g} {0.4 * _SPACE:g}"
        _ellipse(layer, box, 0.75, "high" if mark.ring == "sharp" else "low", style)


def _ellipse(layer: Element, box: Box, gap: float, name: str, style: str) -> None:
    x, y = box.centre
    layer.append(
        layer.makeelement(
            f"{{{SVG}}}ellipse",
            {
                "cx": f"{x:.1f}",
                "cy": f"{y:.1f}",
                "rx": f"{box.width / 2 + gap * _SPACE:.1f}",
                "ry": f"{box.height / 2 + gap * _SPACE:.1f}",
                "class": name,
                "style": style,
            },
        )
    )
