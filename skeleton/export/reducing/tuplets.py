"""Tuplets in a reduction: those of the etude, where plain values do not do.

A tuplet of the etude is written as one only where the reduction has an edge inside it that no
plain value reaches; a triplet under one slur becomes a plain note. Inside a tuplet, times are
spelled in its own, stretched, units. Tuplets inside tuplets are not written as such: their
times are rounded like those of files with rounded durations. Times inside a bar are quarters
from its barline.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from skeleton.analysis.beats import is_pickup
from skeleton.export.reducing.rhythm import Bar, Spelled, bar, on_grid, spell
from skeleton.score.model import Measure, Note, Part, TimeModification

ROUNDING_QUARTERS: Final = Fraction(1, 16)
"""Where a file's durations are off every grid, times move to multiples of this."""


@dataclass(frozen=True, slots=True)
class Tuplet:
    """A tuplet of the etude: a stretch of one bar, and its ratio."""

    start: Fraction
    end: Fraction
    ratio: TimeModification

    @property
    def stretch(self) -> Fraction:
        """What turns its real time into written values: 3/2 in a triplet."""
        return Fraction(self.ratio.actual, self.ratio.normal)


def tuplets_of(part: Part) -> dict[tuple[int, int], list[Tuplet]]:
    """Find the tuplets of each measure and staff from the notes' time modifications.

    A tuplet ends on the first beat that plain values can reach, or where its run of notes ends.
    """
    runs: dict[tuple[int, int, str], list[Note]] = {}
    for note in part.notes:
        if not note.grace and not note.chord and note.duration_quarters > 0:
            runs.setdefault((note.measure, note.staff, note.voice), []).append(note)
    found: dict[tuple[int, int], list[Tuplet]] = {}
    for (index, staff, _voice), notes in runs.items():
        measure = part.measures[index]
        where = bar(measure.metre, measure.length_quarters, pickup=is_pickup(measure))
        for tuplet in _runs_of(notes, measure, where):
            row = found.setdefault((index, staff), [])
            if _can_be_written(tuplet) and all(
                tuplet.end <= other.start or tuplet.start >= other.end for other in row
            ):
                row.append(tuplet)
    for row in found.values():
        row.sort(key=lambda tuplet: tuplet.start)
    return found


def _can_be_written(tuplet: Tuplet) -> bool:
    """Whether plain values reach both its ends, and in its own units its length."""
    length = (tuplet.end - tuplet.start) * tuplet.stretch
    return on_grid(tuplet.start) and on_grid(tuplet.end) and on_grid(length)


def _runs_of(notes: list[Note], measure: Measure, where: Bar) -> Iterator[Tuplet]:
    start: Fraction | None = None
    ratio: Fraction | None = None
    end = Fraction(0)
    for note in sorted(notes, key=lambda note: note.onset_quarters):
        mine = _ratio(note)
        onset = note.onset_quarters - measure.onset_quarters
        if start is not None and ratio is not None and (mine != ratio or onset != end):
            yield Tuplet(start, end, TimeModification(ratio.numerator, ratio.denominator))
            start = None
        if mine is None:
            continue
        if start is None:
            start, ratio = onset, mine
        end = onset + note.duration_quarters
        if end in where.beats and on_grid(end - start):
            yield Tuplet(start, end, TimeModification(mine.numerator, mine.denominator))
            start = None
    if start is not None and ratio is not None:
        yield Tuplet(start, end, TimeModification(ratio.numerator, ratio.denominator))


def _ratio(note: Note) -> Fraction | None:
    modification = note.time_modification
    if modification is None or modification.actual == modification.normal:
        return None
    return Fraction(modification.actual, modification.normal)


def holding(edge: Fraction, tuplets: list[Tuplet]) -> Tuplet | None:
    """Return the tuplet a time needs: the one it stands inside, off the grid of plain values."""
    if on_grid(edge):
        return None
    return next((tuplet for tuplet in tuplets if tuplet.start < edge < tuplet.end), None)


def stretched(start: Fraction, end: Fraction, tuplet: Tuplet, *, rest: bool) -> Iterator[Spelled]:
    """Spell a span inside a tuplet as values that take their time in its ratio."""
    stretch = tuplet.stretch
    length = (tuplet.end - tuplet.start) * stretch
    unit = length / tuplet.ratio.actual
    beats = tuple(unit * n for n in range(tuplet.ratio.actual + 1))
    inside = Bar(length, beats, compound=False, middle=None)
    a, b = ((time - tuplet.start) * stretch for time in (start, end))
    for piece in spell(a, b, inside, rest=rest):
        yield Spelled(
            tuplet.start + piece.start / stretch, tuplet.start + piece.end / stretch, piece.value
        )


def rounded(time: Fraction) -> Fraction:
    """Return the time itself, or the nearest that can be written where none can write it."""
    return time if on_grid(time) else round(time / ROUNDING_QUARTERS) * ROUNDING_QUARTERS
