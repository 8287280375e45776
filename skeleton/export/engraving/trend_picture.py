"""How match groups and fixed pitches went, day by day: a small plot each, in black and white.

Each dot is one day (or a stretch of days, of a long record), the mean of its notes; the line in the
middle is the target. All plots have one scale, so that a glance compares them.
"""

from __future__ import annotations

from datetime import date
from html import escape
from typing import Final

from skeleton.analysis.results import Analysis
from skeleton.errors import JournalError
from skeleton.export.engraving.typeface import BOLD, REGULAR, Face, font_face_css, text_width
from skeleton.export.lists.outline_text import title_of
from skeleton.export.lists.progress_text import cents_text, condition_text
from skeleton.export.lists.words import counted, octaves_text, one_line, pitch_text
from skeleton.journal.progress import GroupFinding, Progress
from skeleton.journal.records import Days
from skeleton.theory.pitch import parse_pitch

_WIDTH: Final = 190.0
_PLOT_HEIGHT: Final = 24.0
_MARGIN: Final = 5.0
_LEFT: Final = 14.0
_LEAST_CENTS: Final = 20.0
_STEP_CENTS: Final = 10.0


def trend_picture(analysis: Analysis, record: Progress) -> str:
    """Return the plots of all groups and fixed pitches of one student as SVG text, 190 mm wide.

    Raises:
        JournalError: none of the etude was measured.
    """
    plots = [(_of_group(one), one.finding, one.line) for one in record.groups]
    plots += [
        (f"every {pitch_text(parse_pitch(one.subject), signs=True)}", one, line)
        for one, line in zip(record.fixed, record.fixed_lines, strict=True)
    ]
    if not plots:
        raise JournalError(
            f"no match group or fixed pitch in the record of {record.student}; nothing to draw"
        )
    lines = [line for *_, line in plots]
    largest = max(abs(cents) for line in lines for cents in line.deviations_cents)
    reach = max(_LEAST_CENTS, -(-largest // _STEP_CENTS) * _STEP_CENTS)
    first = min(line.days[0] for line in lines)
    last = max(line.days[-1] for line in lines)
    title = f"{one_line(title_of(analysis))} · {one_line(record.student)}"
    span = f"{counted(record.takes, 'take')}, {record.first_day} to {record.last_day}"
    sheet = _Sheet([])
    sheet.text(_MARGIN, 9.0, title, 5.0, bold=True)
    dot = "a day" if record.stretch_days == 1 else f"{record.stretch_days} days"
    sheet.text(_MARGIN, 14.5, f"{span}; a dot is {dot}, the line in the middle the target", 3.2)
    top = 20.0
    for name, found, line in plots:
        said = f"{name}: {condition_text(found)}; usually {cents_text(found.median_cents)}"
        sheet.text(_MARGIN, top + 3.5, said, 3.6, bold=True)
        _plot(sheet, line, top, reach, (first, last))
        top += _PLOT_HEIGHT + 6.0
    return sheet.svg(top, title)


def _of_group(group: GroupFinding) -> str:
    of = group.group
    return f"{of.label}: {pitch_text(of.pitch_class, signs=True)}, {octaves_text(of.octaves)}"


def _plot(sheet: _Sheet, days: Days, top: float, reach: float, span: tuple[int, int]) -> None:
    begin, end = top + 6.0, top + 6.0 + _PLOT_HEIGHT - 6.0
    middle = (begin + end) / 2
    left, right = _LEFT, _WIDTH - _MARGIN
    for cents in (-reach, 0.0, reach):
        y = middle - cents / reach * (end - begin) / 2
        sheet.line(left, y, right, y, 0.3 if cents == 0 else 0.1)
        said = f"{cents:+.0f}".replace("-", "−") if cents else "0"
        sheet.text(left - 1.5, y + 1.0, said, 2.8, end=True)
    length = max(1, span[1] - span[0])
    for day, cents in zip(days.days, days.deviations_cents, strict=True):
        x = left + 2.0 + (right - left - 4.0) * (day - span[0]) / length
        y = middle - cents / reach * (end - begin) / 2
        sheet.dot(x, y, f"{date.fromordinal(day).isoformat()}: {cents_text(cents)}")


class _Sheet:
    """SVG being written, in millimetres; it remembers which characters need a font."""

    def __init__(self, parts: list[str]) -> None:
        self._parts = parts
        self._used: dict[Face, set[str]] = {REGULAR: set(), BOLD: set()}

    def text(
        self, x: float, y: float, text: str, size: float, *, bold: bool = False, end: bool = False
    ) -> None:
        face = BOLD if bold else REGULAR
        self._used[face] |= set(text)
        width = text_width(text, size, bold=bold)
        fitted = min(size, size * (_WIDTH - x - _MARGIN) / max(width, 0.1)) if not end else size
        self._parts.append(
            f'<text x="{x:.2f}" y="{y:.2f}" font-size="{fitted:.2f}" font-family="{face.family}" '
            f'font-weight="{face.weight}" text-anchor="{"end" if end else "start"}">'
            f"{escape(text)}</text>"
        )

    def line(self, x: float, y: float, to_x: float, to_y: float, width: float) -> None:
        self._parts.append(
            f'<line x1="{x:.2f}" y1="{y:.2f}" x2="{to_x:.2f}" y2="{to_y:.2f}" stroke="#000000" '
            f'stroke-width="{width:g}"/>'
        )

    def dot(self, x: float, y: float, title: str) -> None:
        self._parts.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.9"><title>{escape(title)}</title></circle>'
        )

    def svg(self, height: float, title: str) -> str:
        css = font_face_css(self._used)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH:g}mm" height="{height:g}mm" '
            f'viewBox="0 0 {_WIDTH:g} {height:g}" role="img"><title>{escape(title)}</title>'
            f'<style type="text/css">{css}</style><rect width="{_WIDTH:g}" height="{height:g}" '
            f'fill="#ffffff"/>{"".join(self._parts)}</svg>\n'
        )
