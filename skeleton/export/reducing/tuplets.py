"""Tuplets in a reduction: those of the etude, where plain values do not do.

A tuplet of the etude is written as one only where the reduction has an edge inside it that no
plain value reaches; a triplet under one slur becomes a plain note. Inside a tuplet, times are
spelled in its own, stretched, units. Tuplets inside tuplets are not written as such: their
times are rounded like those of files with rounded durations. Times inside a bar are ticks from its
barline.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from skeleton.analysis.beats import is_pickup
from skeleton.export.reducing.rhythm import Bar, Spelled, bar, on_grid, spell
from skeleton.export.reducing.ticks import to_ticks
from skeleton.score.model import Measure, Note, Part, TimeModification

ROUNDING_PER_QUARTER: Final = 16
"""Where a file's durations are off every grid, times move to so many places in a quarter."""


@dataclass(frozen=True, slots=True)
class Tuplet:
    """A tuplet of the etude: a stretch of one bar, and its ratio."""

    start: int
    end: int
    ratio: TimeModification

    def written(self, time: int) -> int:
        """How far a time is from the tuplet's start in written values: 3/2 as far in a triplet."""
        return (time - self.start) * self.ratio.actual // self.ratio.normal

    def real(self, written: int) -> int:
        """When something is that lies so far, in written values, from the tuplet's start."""
        return self.start + written * self.ratio.normal // self.ratio.actual


def tuplets_of(part: Part, unit: int) -> dict[tuple[int, int], list[Tuplet]]:
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
        if not any(note.time_modification for note in notes):
            continue
        length = to_ticks(measure.length_quarters, unit)
        where = bar(measure.metre, length, unit, pickup=is_pickup(measure))
        for tuplet in _runs_of(notes, measure, where):
            row = found.setdefault((index, staff), [])
            if _can_be_written(tuplet, unit) and all(
                tuplet.end <= other.start or tuplet.start >= other.end for other in row
            ):
                row.append(tuplet)
    for row in found.values():
        row.sort(key=lambda tuplet: tuplet.start)
    return found


def _can_be_written(tuplet: Tuplet, unit: int) -> bool:
    """Whether plain values reach both its ends, and in its own units its length."""
    times = (tuplet.start, tuplet.end, tuplet.written(tuplet.end))
    return all(on_grid(time, unit) for time in times)


def _runs_of(notes: list[Note], measure: Measure, where: Bar) -> Iterator[Tuplet]:
    start: int | None = None
    ratio: Fraction | None = None
    end = 0
    barline = to_ticks(measure.onset_quarters, where.unit)
    for note in sorted(notes, key=lambda note: note.onset_quarters):
        mine = _ratio(note)
        onset = to_ticks(note.onset_quarters, where.unit) - barline
        if start is not None and ratio is not None and (mine != ratio or onset != end):
            yield Tuplet(start, end, TimeModification(ratio.numerator, ratio.denominator))
            start = None
        if mine is None:
            continue
        if start is None:
            start, ratio = onset, mine
        end = onset + to_ticks(note.duration_quarters, where.unit)
        if end in where.beats and on_grid(end - start, where.unit):
            yield Tuplet(start, end, TimeModification(mine.numerator, mine.denominator))
            start = None
    if start is not None and ratio is not None:
        yield Tuplet(start, end, TimeModification(ratio.numerator, ratio.denominator))


def _ratio(note: Note) -> Fraction | None:
    modification = note.time_modification
    if modification is None or modification.actual == modification.normal:
        return None
    return Fraction(modification.actual, modification.normal)


def holding(edge: int, tuplets: list[Tuplet], unit: int) -> Tuplet | None:
    """Return the tuplet a time needs: the one it stands inside, off the grid of plain values."""
    if on_grid(edge, unit):
        return None
    return next((tuplet for tuplet in tuplets if tuplet.start < edge < tuplet.end), None)


def stretched(start: int, end: int, tuplet: Tuplet, unit: int, *, rest: bool) -> Iterator[Spelled]:
    """Spell a span inside a tuplet as values that take their time in its ratio."""
    length = tuplet.written(tuplet.end)
    beats = tuple(length * n // tuplet.ratio.actual for n in range(tuplet.ratio.actual + 1))
    inside = Bar(length, beats, compound=False, middle=None, unit=unit)
    for piece in spell(tuplet.written(start), tuplet.written(end), inside, rest=rest):
        yield Spelled(tuplet.real(piece.start), tuplet.real(piece.end), piece.value)


def rounded(time: int, unit: int) -> int:
    """Return the time itself, or the nearest that can be written where none can write it."""
    if on_grid(time, unit):
        return time
    step = unit // ROUNDING_PER_QUARTER
    return round(Fraction(time, step)) * step
