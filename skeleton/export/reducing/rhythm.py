"""Spelling lengths of time as note values in a metre.

A reduced bar is a row of spans, each from one time to another. This module says how to write
them: which note value, where a span must be split and tied so that the beats stay visible, and
which notes share a beam. Times are quarters from the barline, exact.

Rules (common practice, no source; those of any notation handbook):

* A value is written with at most one dot. Rests in a simple metre take no dot.
* A span may run over a beat when it begins or ends on a place at least as strong; an undotted
  note may also sit evenly across a beat (the plain syncopation), but never across the middle
  of a bar of four.
* In a compound metre a span over a beat begins and ends on beats.
* Beams stay inside one beat; a bar of three eighths is one beat.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Final

from skeleton.score.model import Metre

VALUE_NAMES: Final[dict[Fraction, str]] = {
    Fraction(8): "breve",
    Fraction(4): "whole",
    Fraction(2): "half",
    Fraction(1): "quarter",
    Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th",
    Fraction(1, 8): "32nd",
    Fraction(1, 16): "64th",
    Fraction(1, 32): "128th",
    Fraction(1, 64): "256th",
}
"""Lengths in quarters to MusicXML's names of note values."""

SHORTEST_QUARTERS: Final = Fraction(1, 64)
"""The shortest value that is written; times off this grid need a tuplet."""

BEAMS: Final[dict[str, int]] = {
    "eighth": 1,
    "16th": 2,
    "32nd": 3,
    "64th": 4,
    "128th": 5,
    "256th": 6,
}
"""How many beams a value carries."""

_BARLINE = 100
_MIDDLE = 90
_BEAT = 80
_IRREGULAR_GROUPS: Final = {
    5: (3, 2),
    7: (2, 2, 3),
    8: (3, 3, 2),
    10: (3, 2, 3, 2),
    11: (3, 3, 3, 2),
}


@dataclass(frozen=True, slots=True)
class Value:
    """A written note value: MusicXML's name and 0 or 1 dots."""

    name: str
    dots: int

    @property
    def beams(self) -> int:
        """Beams or flags it carries."""
        return BEAMS.get(self.name, 0)


@dataclass(frozen=True, slots=True)
class Spelled:
    """A stretch that one note or rest writes."""

    start: Fraction
    end: Fraction
    value: Value


@lru_cache(maxsize=1024)
def plain_value(length: Fraction, dots: int = 1) -> Value | None:
    """Return the value of exactly this length in quarters with at most ``dots`` dots, or None."""
    name = VALUE_NAMES.get(length)
    if name is not None:
        return Value(name, 0)
    name = VALUE_NAMES.get(length * Fraction(2, 3)) if dots else None
    return Value(name, 1) if name is not None else None


def on_grid(time: Fraction) -> bool:
    """Whether the time can be reached by plain values."""
    return SHORTEST_QUARTERS.denominator % time.denominator == 0


@dataclass(frozen=True, slots=True)
class Bar:
    """The times in a bar that can be heard as strong: its beats and its middle.

    ``beats`` run from 0 to the bar's end. ``compound`` beats divide in three. ``middle`` is the
    half of a bar of four beats, else None. A pickup's beats are those of the end of a full bar.
    ``grid`` are the beats as they would run on over both ends: a beat that the bar cuts is
    divided as if it were whole.
    """

    length: Fraction
    beats: tuple[Fraction, ...]
    compound: bool
    middle: Fraction | None
    grid: tuple[Fraction, ...] = ()

    def beat_of(self, time: Fraction) -> Fraction:
        """The last beat at or before the time."""
        return max((beat for beat in self.beats if beat <= time), default=Fraction(0))

    def whole_beat(self, time: Fraction) -> tuple[Fraction, Fraction]:
        """Where the beat around a time begins, and how long it is when it is not cut."""
        grid = self.grid or self.beats
        start = max((beat for beat in grid if beat <= time), default=grid[0])
        end = next((beat for beat in grid if beat > start), start + 1)
        return start, end - start

    def strength(self, time: Fraction) -> int:
        """How strong a place in the bar is: barline, middle, beat, then halves and halves again."""
        if time <= 0 or time >= self.length:
            return _BARLINE
        if time == self.middle:
            return _MIDDLE
        beat, size = self.whole_beat(time)
        if time == beat:
            return _BEAT
        offset = time - beat
        if size.numerator % 3 == 0:
            third = size / 3
            if offset % third == 0:
                return _BEAT - 1
            return _BEAT - 1 - _halvings(offset % third, third)
        return _BEAT - _halvings(offset, size)


def _halvings(offset: Fraction, size: Fraction) -> int:
    count = 0
    while offset % size and count < 16:
        size /= 2
        count += 1
    return count


@lru_cache(maxsize=256)
def bar(metre: Metre, length: Fraction, *, pickup: bool = False) -> Bar:
    """Describe a bar of this metre that holds ``length`` quarters.

    A bar shorter than the metre counts from its start, or back from its end with ``pickup``;
    one that is longer goes on in the same beats.
    """
    unit = Fraction(4, metre.beat_type)
    compound = (
        len(metre.groups) == 1 and metre.beat_type >= 8 and metre.beats % 3 == 0
    ) and not metre.senza_misura
    if metre.senza_misura or length <= 0:
        sizes: tuple[Fraction, ...] = (Fraction(1),)
    elif len(metre.groups) > 1:
        sizes = tuple(group * unit for group in metre.groups)
    elif compound:
        sizes = (3 * unit,)
    elif metre.beats in _IRREGULAR_GROUPS and metre.beat_type >= 8:
        sizes = tuple(group * unit for group in _IRREGULAR_GROUPS[metre.beats])
    else:
        sizes = (
            (Fraction(1),) if metre.beat_type != 4 and metre.length_quarters % 1 == 0 else (unit,)
        )
    full = metre.length_quarters if not metre.senza_misura else length
    if not all(map(on_grid, sizes)):
        sizes = (Fraction(1),)
    shift = full - length if pickup and length < full else Fraction(0)
    grid = tuple(time - shift for time in _repeat(sizes, length + shift))
    inside = tuple(time for time in grid if 0 < time < length)
    regular = not metre.senza_misura and len(sizes) == 1
    middle = full / 2 - shift if regular and (full / sizes[0]) % 4 == 0 else None
    if middle is not None and not 0 < middle < length:
        middle = None
    return Bar(length, (Fraction(0), *inside, length), compound, middle, grid)


def _repeat(sizes: tuple[Fraction, ...], until: Fraction) -> Iterable[Fraction]:
    """Yield the beats from 0 to the first one at or after a time."""
    time, turn = Fraction(0), 0
    while time < until:
        yield time
        time += sizes[turn % len(sizes)]
        turn += 1
    yield time


def spell(start: Fraction, end: Fraction, where: Bar, *, rest: bool = False) -> list[Spelled]:
    """Write the span from ``start`` to ``end`` as values that add up to it exactly.

    The pieces of a note are to be tied. Times must stand on the grid of plain values.

    Raises:
        ValueError: a time off the grid.
    """
    if not (on_grid(start) and on_grid(end)):
        raise ValueError(f"no plain values from {start} to {end}")
    return list(_spelled(start, end, where, rest))


@lru_cache(maxsize=4096)
def _spelled(start: Fraction, end: Fraction, where: Bar, rest: bool) -> tuple[Spelled, ...]:
    pieces: list[Spelled] = []
    todo = [(start, end)]
    while todo:
        a, b = todo.pop()
        if a >= b:
            continue
        value = _allowed(a, b, where, rest=rest)
        if value is not None:
            pieces.append(Spelled(a, b, value))
            continue
        cut = _cut(a, b, where)
        todo += [(cut, b), (a, cut)]
    return tuple(pieces)


def _inner(a: Fraction, b: Fraction, where: Bar) -> tuple[int, list[Fraction]]:
    """The strongest places strictly between two times, and how strong they are."""
    beats = [beat for beat in where.beats if a < beat < b]
    if where.middle in beats:
        return _MIDDLE, [where.middle]
    if beats:
        return _BEAT, beats
    beat, size = where.whole_beat(a)
    step = size / 3 if size.numerator % 3 == 0 else size / 2
    while on_grid(step):
        first = beat + step * ((a - beat) // step + 1)
        places = []
        while first < b:
            places.append(first)
            first += step
        if places:
            return where.strength(places[0]), places
        step /= 2
    return 0, []


def _allowed(a: Fraction, b: Fraction, where: Bar, *, rest: bool) -> Value | None:
    whole_beats = where.compound and a in where.beats and b in where.beats
    value = plain_value(b - a, 0 if rest and not whole_beats else 1)
    if value is None:
        return None
    strongest, places = _inner(a, b, where)
    if not places:
        return value
    ends = max(where.strength(a), where.strength(b))
    if where.compound and strongest >= _BEAT:
        return value if whole_beats else None
    if rest and not _rest_may_cross(a, b, strongest, where):
        return None
    if ends >= strongest:
        return value
    evenly = value.dots == 0 and places == [(a + b) / 2]
    return value if evenly and strongest <= _BEAT and not rest and not where.compound else None


def _rest_may_cross(a: Fraction, b: Fraction, strongest: int, where: Bar) -> bool:
    if where.compound:
        return where.strength(a) > strongest
    even_bar = len(where.beats) % 2 == 1
    return a % (b - a) == 0 and (strongest < _BEAT or even_bar)


def _cut(a: Fraction, b: Fraction, where: Bar) -> Fraction:
    _, places = _inner(a, b, where)
    if not places:
        # Nothing but the grid is left: halve down to a value that fits.
        size = max(length for length in VALUE_NAMES if length < b - a)
        return a + size
    strong_start = where.strength(a) >= where.strength(places[0])
    return places[-1] if strong_start else places[0]


def beam_groups(items: list[tuple[Fraction, Value | None]], where: Bar) -> list[list[int]]:
    """Return the indices of items that share a beam: in time order, inside one beat.

    Each item is its start and its value; None for a rest or anything that takes no beam.
    """
    groups: list[list[int]] = []
    open_group: list[int] = []
    open_beat: Fraction | None = None
    for index, (start, value) in enumerate(items):
        beat = where.beat_of(start)
        if value is None or value.beams == 0:
            open_beat = None
            continue
        if beat != open_beat:
            open_group = []
            groups.append(open_group)
            open_beat = beat
        open_group.append(index)
    return [group for group in groups if len(group) > 1]


def beams(values: list[Value]) -> list[list[str]]:
    """MusicXML beam words for each note of one group, level by level.

    A level that a neighbour does not share becomes a hook towards the note it belongs to.
    """
    counts = [value.beams for value in values]
    words: list[list[str]] = []
    for index, count in enumerate(counts):
        before = counts[index - 1] if index else 0
        after = counts[index + 1] if index + 1 < len(counts) else 0
        row = []
        for level in range(1, count + 1):
            left, right = before >= level, after >= level
            if left and right:
                row.append("continue")
            elif right:
                row.append("begin")
            elif left:
                row.append("end")
            else:
                row.append("forward hook" if index == 0 else "backward hook")
        words.append(row)
    return words
