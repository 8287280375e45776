"""Curves of pitch, row by row: what a player's notes did, and where they should have been.

All rows of a take have one scale in cents, so that a glance compares them. The line in the middle
is the aim of every note, the shade round it the band in which it is in tune; the curve is the
pitch as it was heard, the ring its value as judged, with the uncertainty as a stroke through it.
Everything is told apart without colour, and everything is drawn in the colour of the text round
it, so that a page may be dark. Source: W3C SVG 1.1 (second edition).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from skeleton.analysis.results import Passage
from skeleton.export.engraving.typeface import BOLD, REGULAR, Face, text_width
from skeleton.export.lists.words import one_line
from skeleton.export.marking.listen_marks import mark_of
from skeleton.export.take.plot_rows import Sounded, Stood, rows, sounded
from skeleton.export.take.words import TakeWords
from skeleton.listening.pitch_curves import NoteCurve
from skeleton.listening.report import TakeReport

_LEFT: Final = 10.0
_RIGHT: Final = 1.0
_BARS: Final = 3.4
_LEVEL: Final = 3.3
_LEVELS: Final = 3
_PLOT: Final = 26.0

_SIZE: Final = 2.9
_SMALL: Final = 2.5
_LEAST_CENTS: Final = 30.0
_MOST_CENTS: Final = 70.0
_STEP_CENTS: Final = 10.0
_DASHES: Final = ("", "1.1 .5", ".25 .45", "1.1 .4 .25 .4")
_GRID: Final = 0.1
_RING: Final = 0.75
_SAID: Final = 12


@dataclass(frozen=True, slots=True)
class Plot:
    """One row: an SVG with its size in millimetres, without fonts, and words for those who hear it.

    ``used``: the characters by face.
    """

    inner: str
    width_mm: float
    height_mm: float
    alt: str
    used: Mapping[Face, frozenset[str]]

    @property
    def svg(self) -> str:
        """The row as a file of its own, black on nothing."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width_mm:g}mm" '
            f'height="{self.height_mm:g}mm" viewBox="0 0 {self.width_mm:g} {self.height_mm:g}" '
            f'color="#000000">{self.inner}</svg>'
        )


@dataclass(frozen=True, slots=True)
class PassagePlots:
    """The rows of one passage."""

    passage: Passage
    plots: tuple[Plot, ...]


def take_plots(
    report: TakeReport, curves: Sequence[NoteCurve], width_mm: float, words: TakeWords
) -> tuple[PassagePlots, ...]:
    """Draw the curves of a take, passage by passage; passages that were not heard are left out.

    Args:
        report: the take judged.
        curves: of its attempts, :func:`skeleton.listening.pitch_curves.pitch_curves`.
        width_mm: width of the rows.
        words: the language.
    """
    measures = [report.targets[one.judged.note].place.measure_index for one in curves]
    wrong = [
        (one, report.events[one.event].measure)
        for one in report.alignment.played
        if one.kind == "wrong" and one.event >= 0
    ]
    reach = _reach(curves)
    numbers = [
        one_line(one.number) for one in report.analysis.score.part(report.part.part).measures
    ]
    found = []
    for passage in report.analysis.passages:
        here = [at for at, measure in enumerate(measures) if passage.holds(measure)]
        if not any(len(curves[at].time_s) for at in here):
            continue
        played = sounded(
            [curves[at] for at in here],
            [measures[at] for at in here],
            [(one, measure) for one, measure in wrong if passage.holds(measure)],
        )
        drawn = (
            _Row(report, numbers, reach, width_mm, words).drawn(row)
            for row in rows(played, width_mm - _LEFT - _RIGHT)
        )
        found.append(PassagePlots(passage, tuple(drawn)))
    return tuple(found)


def passage_text(report: TakeReport, passage: Passage, words: TakeWords) -> str:
    """Return the heading of a passage: its name and the printed numbers of its measures."""
    measures = report.analysis.score.part(report.part.part).measures
    first, last = (
        one_line(measures[at].number) for at in (passage.first_index, passage.last_index)
    )
    where, phrases = words.measures(first, last), words.shared.phrases
    measure, _, _ = phrases.measure.partition(" ")
    name = passage.name
    if not name.startswith(measure):
        name = phrases.passage.format(name=name)
    return one_line(name if where in name else f"{name}, {where}")


def _reach(curves: Iterable[NoteCurve]) -> float:
    """How many cents a row shows to either side."""
    needed = _LEAST_CENTS
    for one in curves:
        if one.away_cents is not None:
            needed = max(needed, abs(one.away_cents) + 5.0)
        needed = max(needed, -one.low_cents + 2.0, one.high_cents + 2.0)
    return min(math.ceil(needed / _STEP_CENTS) * _STEP_CENTS, _MOST_CENTS)


class _Ink:
    """SVG being written, in millimetres; it remembers which characters need a font."""

    def __init__(self) -> None:
        self.parts: list[str] = []
        self.used: dict[Face, set[str]] = {REGULAR: set(), BOLD: set()}

    def text(
        self, x: float, y: float, text: str, size: float, *, bold: bool = False, anchor: str = ""
    ) -> None:
        face = BOLD if bold else REGULAR
        self.used[face] |= set(text)
        weight = f' font-weight="{face.weight}"' if bold else ""
        held = f' text-anchor="{anchor}"' if anchor else ""
        start = f'<text x="{x:.2f}" y="{y:.2f}" fill="currentColor" stroke="none"'
        self.parts.append(f'{start} font-size="{size:g}"{weight}{held}>{escape(text)}</text>')

    def path(self, d: str, width: float, *, dash: str = "", pale: bool = False) -> None:
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        faint = ' stroke-opacity=".45"' if pale else ""
        self.parts.append(f'<path d="{d}" stroke-width="{width:g}"{dashed}{faint}/>')


@dataclass(frozen=True, slots=True)
class _Text:
    """A text centred at a place, on a level counted away from the plot."""

    x: float
    text: str
    level: int


class _Row:
    """Draws one row."""

    def __init__(
        self,
        report: TakeReport,
        numbers: Sequence[str],
        reach: float,
        width_mm: float,
        words: TakeWords,
    ) -> None:
        self._report = report
        self._words = words
        self._numbers = numbers
        self._reach = reach
        self._width = width_mm
        self._ink = _Ink()
        self._top = self._bottom = 0.0

    def drawn(self, row: Sequence[Stood]) -> Plot:
        """Return the row."""
        ink = self._ink
        right = _LEFT + row[-1].left_mm + row[-1].width_mm
        names = _levels(self._names(row), bold=False)
        marks = _levels(self._marks(row), bold=True)
        self._top = _BARS + _LEVEL * _height(names) + 1.0
        self._bottom = self._top + _PLOT
        self._scale(right)
        for one in row:
            for curve in one.sounded.curves:
                self._band(one, curve)
        ink.path(f"M{_LEFT:g} {self._y(0):.2f}H{right:.2f}", 0.22)
        self._bars(row, right)
        for one in row:
            for place, curve in enumerate(self._ordered(one.sounded)):
                self._curve(one, curve, _DASHES[min(place, len(_DASHES) - 1)])
        for said in names:
            y = self._top - 1.6 - _LEVEL * said.level
            ink.text(said.x, y, said.text, _SIZE, anchor="middle")
        for said in marks:
            y = self._bottom - 0.2 + _LEVEL * (said.level + 1)
            ink.text(said.x, y, said.text, _SIZE, bold=True, anchor="middle")
        foot = self._bottom + _LEVEL * max(_height(marks), 1) + 3.2
        self._clock(row, foot)
        inner = (
            '<g fill="none" stroke="currentColor" stroke-linejoin="round" '
            f'font-family="&quot;Etude Serif&quot;, Times, serif">{"".join(ink.parts)}</g>'
        )
        used = {face: frozenset(characters) for face, characters in ink.used.items()}
        return Plot(inner, self._width, round(foot + 1.2, 2), self._alt(row), used)

    def _y(self, cents: float) -> float:
        held = max(-self._reach, min(self._reach, cents))
        return self._bottom - _PLOT / 2 - held / self._reach * _PLOT / 2

    def _ordered(self, one: Sounded) -> list[NoteCurve]:
        targets = self._report.targets
        return sorted(one.curves, key=lambda curve: -targets[curve.judged.note].hz)

    def _scale(self, right: float) -> None:
        ink = self._ink
        step = 10.0 if self._reach <= 40.0 else 20.0
        count = int(self._reach // step)
        for cents in (step * at for at in range(-count, count + 1)):
            y = self._y(cents)
            if cents:
                ink.path(f"M{_LEFT:g} {y:.2f}H{right:.2f}", _GRID, pale=True)
            if cents % (2 * step) == 0:
                said = f"{cents:+.0f}".replace("-", "−") if cents else "0"
                ink.text(_LEFT - 1.0, y + 0.85, said, _SMALL, anchor="end")

    def _band(self, one: Stood, curve: NoteCurve) -> None:
        top, bottom = self._y(curve.high_cents), self._y(curve.low_cents)
        self._ink.parts.append(
            f'<rect x="{_LEFT + one.left_mm:.2f}" y="{top:.2f}" width="{one.width_mm:.2f}" '
            f'height="{bottom - top:.2f}" fill="currentColor" fill-opacity=".16" stroke="none"/>'
        )

    def _bars(self, row: Sequence[Stood], right: float) -> None:
        ink, top = self._ink, self._top
        for one in row:
            x = _LEFT + one.left_mm
            if one.pause:
                # Two slanted strokes: time was left out.
                middle = x - 3.0
                for begin in (middle - 1.4, middle - 0.2):
                    ink.path(f"M{begin:.2f} {self._bottom - 11:.2f}l1.6 {22 - _PLOT:g}", 0.3)
            if one.begins_measure:
                ink.path(f"M{x:.2f} {top:.2f}V{self._bottom:.2f}", 0.3)
                ink.text(x, _BARS - 0.5, self._numbers[one.sounded.measure], _SMALL, bold=True)
            else:
                ink.path(f"M{x:.2f} {top:.2f}V{self._bottom:.2f}", _GRID, pale=True)
        ink.path(f"M{right:.2f} {top:.2f}V{self._bottom:.2f}", _GRID, pale=True)

    def _curve(self, one: Stood, curve: NoteCurve, dash: str) -> None:
        left, length = _LEFT + one.left_mm, one.sounded.end_s - one.sounded.start_s
        d, pen_up, last = [], True, ""
        for time_s, cents in zip(curve.time_s.tolist(), curve.cents.tolist(), strict=True):
            if not abs(cents) <= self._reach:  # nor where it is no number
                pen_up = True
                continue
            x = left + (time_s - one.sounded.start_s) / max(length, 1e-6) * one.width_mm
            point = f"{x:.2f} {self._y(cents):.2f}"
            if pen_up or point != last:
                d.append(f"{'M' if pen_up else 'L'}{point}")
            pen_up, last = False, point
        if len(d) > 1:
            self._ink.path("".join(d), 0.25, dash=dash)
        away, u = curve.away_cents, curve.judged.u_cents
        if away is None or u is None:
            return
        x, y = left + one.width_mm / 2, self._y(away)
        for edge, side in ((self._y(away + u), -_RING), (self._y(away - u), _RING)):
            if (edge - y) / side > 1.0:
                self._ink.path(f"M{x:.2f} {y + side:.2f}V{edge:.2f}", 0.3)
        self._ink.parts.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{_RING:g}" stroke-width=".35"/>'
        )

    def _names(self, row: Sequence[Stood]) -> list[tuple[float, str]]:
        said: list[tuple[float, str]] = []
        for one in row:
            names = [
                self._words.shared.pitch(self._report.targets[curve.judged.note].place.pitch)
                for curve in self._ordered(one.sounded)
            ]
            # The first stands nearest to the plot: the lowest note.
            said += [(_middle(one), name) for name in names[::-1] or ["×"]]
        return said

    def _marks(self, row: Sequence[Stood]) -> list[tuple[float, str]]:
        said: list[tuple[float, str]] = []
        for one in row:
            for curve in self._ordered(one.sounded):
                mark = mark_of(curve.judged, self._report.targets[curve.judged.note])
                if mark is not None:
                    said.append((_middle(one), mark.text))
        return said

    def _clock(self, row: Sequence[Stood], y: float) -> None:
        edge = -math.inf
        for one in row:
            if not (one.begins_measure or one.pause):
                continue
            x, said = _LEFT + one.left_mm, self._words.clock(one.sounded.start_s)
            if x > edge + 1.5:
                self._ink.text(x, y, said, _SMALL)
                edge = x + text_width(said, _SMALL)

    def _alt(self, row: Sequence[Stood]) -> str:
        words, say = self._words, self._words.say
        off, fine = [], 0
        for one in row:
            for curve in self._ordered(one.sounded):
                target = self._report.targets[curve.judged.note]
                mark = mark_of(curve.judged, target)
                if mark is not None and mark.side != "unsure":
                    form = say.curve_off[mark.side == "high"]
                    name = words.shared.pitch(target.place.pitch)
                    off.append(form.format(name=name, cents=max(1, round(abs(mark.cents)))))
                fine += curve.judged.verdict == "in tune"
        rest = say.more_places.format(more=len(off) - _SAID) if len(off) > _SAID else ""
        measures = [one.sounded.measure for one in row]
        return words.counted(
            say.curve_alt,
            fine,
            measures=words.measures(self._numbers[measures[0]], self._numbers[measures[-1]]),
            span=say.span.format(
                start=words.clock(row[0].sounded.start_s), end=words.clock(row[-1].sounded.end_s)
            ),
            off=", ".join(off[:_SAID]) + rest if off else say.none_off,
        )


def _middle(one: Stood) -> float:
    return _LEFT + one.left_mm + one.width_mm / 2


def _height(said: Sequence[_Text]) -> int:
    return max((one.level + 1 for one in said), default=0)


def _levels(said: Sequence[tuple[float, str]], *, bold: bool) -> list[_Text]:
    """Put texts side by side, on the next level where one does not fit, or leave it out."""
    edges = [-math.inf] * _LEVELS
    found = []
    for x, text in said:
        half = text_width(text, _SIZE, bold=bold) / 2
        level = next((at for at, edge in enumerate(edges) if x - half > edge + 0.5), None)
        if level is not None:
            found.append(_Text(x, text, level))
            edges[level] = x + half
    return found
