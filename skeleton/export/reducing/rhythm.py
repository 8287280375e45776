"""Spelling lengths of time as note values in a metre.

A reduced bar is a row of spans, each from one time to another. This module says how to write
them: which note value, where a span must be split and tied so that the beats stay visible, and
which notes share a beam. Times are counted from the barline in ticks, whole numbers of which
``unit`` make a quarter (:mod:`skeleton.export.reducing.ticks`).

Rules (common practice, no source; those of any notation handbook):

* A value is written with at most one dot. Rests in a simple metre take no dot.
* A span may run over a beat when it begins or ends on a place at least as strong; an undotted
  note may also sit evenly across a beat (the plain syncopation), but never across the middle
  of a bar of four.
* In a compound metre a span over a beat begins and ends on beats.
* Beams stay inside one beat; a bar of three eighths is one beat.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import gcd
from typing import Final

from skeleton.export.reducing.ticks import GRID_PER_QUARTER
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

    start: int
    end: int
    value: Value


@lru_cache(maxsize=1024)
def plain_value(length: int, unit: int, dots: int = 1) -> Value | None:
    """Return the value of exactly this length with at most ``dots`` dots, or None."""
    name = VALUE_NAMES.get(Fraction(length, unit))
    if name is not None:
        return Value(name, 0)
    name = VALUE_NAMES.get(Fraction(2 * length, 3 * unit)) if dots else None
    return Value(name, 1) if name is not None else None


def on_grid(time: int, unit: int) -> bool:
    """Whether the time can be reached by plain values."""
    return time * GRID_PER_QUARTER % unit == 0


@dataclass(frozen=True, slots=True)
class Bar:
    """The times in a bar that can be heard as strong: its beats and its middle.

    ``beats`` run up from 0 to the bar's end. ``compound`` beats divide in three. ``middle`` is the
    half of a bar of four beats, else None. A pickup's beats are those of the end of a full bar.
    ``grid`` are the beats as they would run on over both ends: a beat that the bar cuts is
    divided as if it were whole.
    """

    length: int
    beats: tuple[int, ...]
    compound: bool
    middle: int | None
    unit: int
    grid: tuple[int, ...] = ()

    def beat_of(self, time: int) -> int:
        """The last beat at or before the time."""
        place = bisect_right(self.beats, time)
        return self.beats[place - 1] if place else 0

    def whole_beat(self, time: int) -> tuple[int, int]:
        """Where the beat around a time begins, and how long it is when it is not cut."""
        grid = self.grid or self.beats
        place = max(bisect_right(grid, time), 1)
        start = grid[place - 1]
        return start, (grid[place] if place < len(grid) else start + self.unit) - start

    def in_three(self, size: int) -> bool:
        """Whether a beat of this length divides in three."""
        return size // gcd(size, self.unit) % 3 == 0

    def strength(self, time: int) -> int:
        """How strong a place in the bar is: barline, middle, beat, then halves and halves again."""
        if time <= 0 or time >= self.length:
            return _BARLINE
        if time == self.middle:
            return _MIDDLE
        beat, size = self.whole_beat(time)
        if time == beat:
            return _BEAT
        if self.in_three(size):
            return _BEAT - 1 - _halvings(3 * (time - beat), size)
        return _BEAT - _halvings(time - beat, size)


def _halvings(offset: int, size: int) -> int:
    """How often a length must be halved until the offset is a multiple of it; 16 is enough."""
    return next((count for count in range(16) if (offset * 2**count) % size == 0), 16)


@lru_cache(maxsize=256)
def bar(metre: Metre, length: int, unit: int, *, pickup: bool = False) -> Bar:
    """Describe a bar of this metre that is ``length`` ticks long.

    A bar shorter than the metre counts from its start, or back from its end with ``pickup``;
    one that is longer goes on in the same beats.
    """
    printed = 4 * unit // metre.beat_type
    compound = (
        len(metre.groups) == 1 and metre.beat_type >= 8 and metre.beats % 3 == 0
    ) and not metre.senza_misura
    if metre.senza_misura or length <= 0:
        sizes: tuple[int, ...] = (unit,)
    elif len(metre.groups) > 1:
        sizes = tuple(group * printed for group in metre.groups)
    elif compound:
        sizes = (3 * printed,)
    elif metre.beats in _IRREGULAR_GROUPS and metre.beat_type >= 8:
        sizes = tuple(group * printed for group in _IRREGULAR_GROUPS[metre.beats])
    else:
        whole_quarters = metre.beats * printed % unit == 0
        sizes = (unit,) if metre.beat_type != 4 and whole_quarters else (printed,)
    full = length if metre.senza_misura else metre.beats * printed
    if not all(on_grid(size, unit) for size in sizes):
        sizes = (unit,)
    shift = full - length if pickup and length < full else 0
    grid = tuple(time - shift for time in _repeat(sizes, length + shift))
    inside = tuple(time for time in grid if 0 < time < length)
    regular = not metre.senza_misura and len(sizes) == 1
    middle = full // 2 - shift if regular and full % (4 * sizes[0]) == 0 else None
    if middle is not None and not 0 < middle < length:
        middle = None
    return Bar(length, (0, *inside, length), compound, middle, unit, grid)


def _repeat(sizes: tuple[int, ...], until: int) -> Iterable[int]:
    """Yield the beats from 0 to the first one at or after a time."""
    time, turn = 0, 0
    while time < until:
        yield time
        time += sizes[turn % len(sizes)]
        turn += 1
    yield time


def spell(start: int, end: int, where: Bar, *, rest: bool = False) -> list[Spelled]:
    """Write the span from ``start`` to ``end`` as values that add up to it exactly.

    The pieces of a note are to be tied. Times must stand on the grid of plain values.

    Raises:
        ValueError: a time off the grid.
    """
    if not (on_grid(start, where.unit) and on_grid(end, where.unit)):
        ends = (Fraction(time, where.unit) for time in (start, end))
        raise ValueError("no plain values from {} to {}".format(*ends))
    return list(_spelled(start, end, where, rest))


@lru_cache(maxsize=4096)
def _spelled(start: int, end: int, where: Bar, rest: bool) -> tuple[Spelled, ...]:
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


def _inner(a: int, b: int, where: Bar) -> tuple[int, list[int]]:
    """The strongest places strictly between two times, and how strong they are.

    Only places that plain values reach: the beats of fifths of a whole note are none.
    """
    within = where.beats[bisect_right(where.beats, a) : bisect_left(where.beats, b)]
    beats = [beat for beat in within if on_grid(beat, where.unit)]
    if where.middle in beats:
        return _MIDDLE, [where.middle]
    if beats:
        return _BEAT, beats
    beat, size = where.whole_beat(a)
    parts = 3 if where.in_three(size) else 2
    while size % parts == 0 and on_grid(size // parts, where.unit):
        step = size // parts
        first = beat + step * ((a - beat) // step + 1)
        places = []
        while first < b:
            if on_grid(first, where.unit):
                places.append(first)
            first += step
        if places:
            return where.strength(places[0]), places
        parts *= 2
    return 0, []


def _allowed(a: int, b: int, where: Bar, *, rest: bool) -> Value | None:
    whole_beats = where.compound and a in where.beats and b in where.beats
    value = plain_value(b - a, where.unit, 0 if rest and not whole_beats else 1)
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
    evenly = value.dots == 0 and [2 * place for place in places] == [a + b]
    return value if evenly and strongest <= _BEAT and not rest and not where.compound else None


def _rest_may_cross(a: int, b: int, strongest: int, where: Bar) -> bool:
    if where.compound:
        return where.strength(a) > strongest
    even_bar = len(where.beats) % 2 == 1
    return a % (b - a) == 0 and (strongest < _BEAT or even_bar)


def _cut(a: int, b: int, where: Bar) -> int:
    _, places = _inner(a, b, where)
    if not places:
        # Nothing but the grid is left: halve down to a value that fits.
        sizes = (int(length * where.unit) for length in VALUE_NAMES)
        return a + max(size for size in sizes if size < b - a)
    strong_start = where.strength(a) >= where.strength(places[0])
    return places[-1] if strong_start else places[0]


def beam_groups(items: list[tuple[int, Value | None]], where: Bar) -> list[list[int]]:
    """Return the indices of items that share a beam: in time order, inside one beat.

    Each item is its start and its value; None for a rest or anything that takes no beam.
    """
    groups: list[list[int]] = []
    open_group: list[int] = []
    open_beat: int | None = None
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
