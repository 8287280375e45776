"""From placed events to written bars: lanes of notes and rests whose values add up.

Each staff of a reduction is written in as few lanes (voices) as its events allow: one where
nothing overlaps, else one for each voice of the etude; small notes have a lane of their own.
Times inside a bar are quarters from its barline.

Tuplets
-------
A tuplet of the etude is written as one only where the reduction has an edge inside it that no
plain value reaches; a triplet under one slur becomes a plain note. Inside a tuplet, times are
spelled in its own, stretched, units. Times off every grid (files whose durations were rounded)
are moved to the nearest 64th; a note that vanishes by this is reported.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Final

from skeleton.analysis.beats import is_pickup
from skeleton.export.placement import Placement
from skeleton.export.rhythm import (
    Bar,
    Spelled,
    Value,
    bar,
    beam_groups,
    beams,
    on_grid,
    spell,
)
from skeleton.score.model import Measure, Note, Notice, Part, TimeModification

ROUNDING_QUARTERS: Final = Fraction(1, 16)
"""Where a file's durations are off every grid, times move to multiples of this."""


@dataclass(frozen=True, slots=True)
class Item:
    """One written note, chord or rest; a rest where ``notes`` is empty.

    ``first`` marks the piece that carries an event's attack; the others are tied to it.
    ``hidden`` rests only keep the time. ``tuplet_start`` and ``tuplet_stop`` open and close
    the tuplet that ``tuplet`` belongs to. ``value`` is None for the rest of a whole measure.
    """

    start: Fraction
    end: Fraction
    value: Value | None
    notes: tuple[str, ...] = ()
    first: bool = False
    tied_back: bool = False
    tied_on: bool = False
    small: bool = False
    hidden: bool = False
    tuplet: TimeModification | None = None
    tuplet_start: bool = False
    tuplet_stop: bool = False
    beams: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Lane:
    """One voice of one staff in one measure; its items fill the measure."""

    staff: int
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class WrittenBar:
    """A measure of the reduction. ``length`` is what every lane adds up to."""

    index: int
    length: Fraction
    lanes: tuple[Lane, ...]


@dataclass(frozen=True, slots=True)
class _Span:
    """A stretch of a lane inside one bar, not spelled yet."""

    start: Fraction
    end: Fraction
    placement: Placement | None = None
    first: bool = False
    last: bool = False
    hidden: bool = False


@dataclass(frozen=True, slots=True)
class _Tuplet:
    start: Fraction
    end: Fraction
    ratio: TimeModification


def write_bars(
    part: Part, placements: Iterable[Placement]
) -> tuple[tuple[WrittenBar, ...], tuple[Notice, ...]]:
    """Spell a part's placements as measures; also returns what could not be written exactly."""
    staves = range(1, max(1, part.staves) + 1)
    by_staff: dict[int, list[list[Placement]]] = {staff: [[]] for staff in staves}
    by_staff.update(_lanes(placements))
    tuplets = _tuplets(part)
    cut = {
        (staff, number): _by_measure(part, lane)
        for staff, lanes in by_staff.items()
        for number, lane in enumerate(lanes)
    }
    written: list[WrittenBar] = []
    notices: list[Notice] = []
    for measure in part.measures:
        length = _rounded(measure.length_quarters)
        where = bar(measure.metre, length, pickup=is_pickup(measure))
        found: list[Lane] = []
        for staff, lanes in by_staff.items():
            rows = [cut[staff, number].get(measure.index, []) for number in range(len(lanes))]
            for filled in _filled(rows, length):
                spans, lost = _on_grid(filled, tuplets.get((measure.index, staff), []))
                if lost:
                    notices.append(_lost(part, measure, lost))
                items = _items(spans, where, tuplets.get((measure.index, staff), []))
                if length != measure.metre.length_quarters:
                    items = [r for i in items for r in _plain_rests(i, where)]
                found.append(Lane(staff, tuple(_beamed(items, where))))
        written.append(WrittenBar(measure.index, length, tuple(found)))
    return tuple(written), tuple(notices)


def _lost(part: Part, measure: Measure, count: int) -> Notice:
    return Notice(
        "rhythm-too-fine",
        f"{count} skeleton note(s) are too short to write in the reduction and were left out",
        part.id,
        measure.number,
    )


def _lanes(placements: Iterable[Placement]) -> dict[int, list[list[Placement]]]:
    """Sort events into lanes per staff: large ones first, small ones behind."""
    found: dict[int, dict[bool, list[Placement]]] = {}
    for placement in placements:
        found.setdefault(placement.staff, {}).setdefault(placement.small, []).append(placement)
    return {
        staff: _untangled(sizes.get(False, [])) + _untangled(sizes.get(True, []), spare=True)
        for staff, sizes in found.items()
    }


def _untangled(row: list[Placement], *, spare: bool = False) -> list[list[Placement]]:
    """One lane where nothing overlaps, else a lane for each voice."""
    if not row:
        return [] if spare else [[]]
    row = sorted(row, key=lambda placement: placement.start)
    if all(a.end <= b.start for a, b in pairwise(row)):
        return [row]
    voices: dict[str, list[Placement]] = {}
    for placement in row:
        voices.setdefault(placement.voice, []).append(placement)
    return [voices[voice] for voice in sorted(voices)]


def _by_measure(part: Part, lane: list[Placement]) -> dict[int, list[_Span]]:
    """Cut a lane's events at the barlines."""
    onsets = [measure.onset_quarters for measure in part.measures]
    rows: dict[int, list[_Span]] = {}
    for placement in lane:
        index = max(bisect_right(onsets, placement.start) - 1, 0)
        start = placement.start
        while start < placement.end and index < len(part.measures):
            measure = part.measures[index]
            edge = measure.onset_quarters + measure.length_quarters
            end = min(placement.end, edge)
            if end > start:
                rows.setdefault(index, []).append(
                    _Span(
                        start - measure.onset_quarters,
                        end - measure.onset_quarters,
                        placement,
                        first=start == placement.start,
                        last=end == placement.end or index + 1 == len(part.measures),
                    )
                )
            start = max(start, edge)
            index += 1
    return rows


def _filled(rows: list[list[_Span]], length: Fraction) -> Iterator[list[_Span]]:
    """Fill the gaps of each lane with rests; empty lanes go, unless none would be left.

    Rests are printed in the first lane only, and only where no other lane of the staff sounds.
    """
    used = [row for row in rows if row] or [[]]
    if all(span.placement is not None and span.placement.small for span in used[0]) and used[0]:
        used.insert(0, [])
    for number, row in enumerate(used):
        others = [span for other in used[:number] + used[number + 1 :] for span in other]
        edges = sorted({span.start for span in others} | {span.end for span in others})
        filled: list[_Span] = []
        time = Fraction(0)
        for span in [*row, _Span(length, length)]:
            while time < span.start:
                edge = next((edge for edge in edges if time < edge < span.start), span.start)
                covered = any(o.start <= time and o.end >= edge for o in others)
                filled.append(_Span(time, edge, hidden=number > 0 or covered))
                time = edge
            if span.end > span.start:
                filled.append(span)
                time = span.end
        yield _joined_rests(filled)


def _joined_rests(spans: list[_Span]) -> list[_Span]:
    joined: list[_Span] = []
    for span in spans:
        last = joined[-1] if joined else None
        if (
            last is not None
            and last.placement is None
            and span.placement is None
            and last.hidden == span.hidden
        ):
            joined[-1] = replace(last, end=span.end)
        else:
            joined.append(span)
    return joined


def _tuplets(part: Part) -> dict[tuple[int, int], list[_Tuplet]]:
    """Find the tuplets of each measure and staff from the notes' time modifications.

    A tuplet ends on the first beat that plain values can reach, or where its run of notes ends.
    """
    runs: dict[tuple[int, int, str], list[Note]] = {}
    for note in part.notes:
        if not note.grace and not note.chord and note.duration_quarters > 0:
            runs.setdefault((note.measure, note.staff, note.voice), []).append(note)
    found: dict[tuple[int, int], list[_Tuplet]] = {}
    for (index, staff, _voice), notes in runs.items():
        measure = part.measures[index]
        where = bar(measure.metre, measure.length_quarters, pickup=is_pickup(measure))
        for tuplet in _runs_of(notes, measure, where):
            row = found.setdefault((index, staff), [])
            if all(tuplet.end <= other.start or tuplet.start >= other.end for other in row):
                row.append(tuplet)
    for row in found.values():
        row.sort(key=lambda tuplet: tuplet.start)
    return found


def _runs_of(notes: list[Note], measure: Measure, where: Bar) -> Iterator[_Tuplet]:
    start: Fraction | None = None
    ratio: Fraction | None = None
    end = Fraction(0)
    for note in sorted(notes, key=lambda note: note.onset_quarters):
        mine = _ratio(note)
        onset = note.onset_quarters - measure.onset_quarters
        if start is not None and ratio is not None and (mine != ratio or onset != end):
            yield _Tuplet(start, end, TimeModification(ratio.numerator, ratio.denominator))
            start = None
        if mine is None:
            continue
        if start is None:
            start, ratio = onset, mine
        end = onset + note.duration_quarters
        if end in where.beats and on_grid(end - start):
            yield _Tuplet(start, end, TimeModification(mine.numerator, mine.denominator))
            start = None
    if start is not None and ratio is not None:
        yield _Tuplet(start, end, TimeModification(ratio.numerator, ratio.denominator))


def _ratio(note: Note) -> Fraction | None:
    modification = note.time_modification
    if modification is None or modification.actual == modification.normal:
        return None
    return Fraction(modification.actual, modification.normal)


def _rounded(time: Fraction) -> Fraction:
    return time if on_grid(time) else round(time / ROUNDING_QUARTERS) * ROUNDING_QUARTERS


def _on_grid(spans: list[_Span], tuplets: list[_Tuplet]) -> tuple[list[_Span], int]:
    """Move edges that nothing can write; returns the spans left and how many notes went."""
    moved: dict[Fraction, Fraction] = {}
    for edge in {time for span in spans for time in (span.start, span.end)}:
        home = _holding(edge, tuplets)
        if home is None:
            moved[edge] = _rounded(edge)
        else:
            stretch = Fraction(home.ratio.actual, home.ratio.normal)
            moved[edge] = home.start + _rounded((edge - home.start) * stretch) / stretch
    kept = [replace(span, start=moved[span.start], end=moved[span.end]) for span in spans]
    lost = sum(1 for span in kept if span.first and span.start >= span.end)
    return [span for span in kept if span.start < span.end], lost


def _holding(edge: Fraction, tuplets: list[_Tuplet]) -> _Tuplet | None:
    """The tuplet an edge needs: the one it stands inside, off the grid of plain values."""
    if on_grid(edge):
        return None
    return next((tuplet for tuplet in tuplets if tuplet.start < edge < tuplet.end), None)


def _items(spans: list[_Span], where: Bar, tuplets: list[_Tuplet]) -> list[Item]:
    if len(spans) == 1 and spans[0].placement is None:
        span = spans[0]
        return [Item(span.start, span.end, None, hidden=span.hidden)]
    edges = {time for span in spans for time in (span.start, span.end)}
    needed = list(
        dict.fromkeys(t for t in (_holding(edge, tuplets) for edge in sorted(edges)) if t)
    )
    items: list[Item] = []
    for span in spans:
        pieces = list(_pieces(span, where, needed))
        for number, (piece, tuplet) in enumerate(pieces):
            notes = span.placement.notes if span.placement is not None else ()
            items.append(
                Item(
                    piece.start,
                    piece.end,
                    piece.value,
                    notes=notes,
                    first=bool(notes) and span.first and number == 0,
                    tied_back=bool(notes) and not (span.first and number == 0),
                    tied_on=bool(notes) and not (span.last and number == len(pieces) - 1),
                    small=span.placement is not None and span.placement.small,
                    hidden=span.hidden,
                    tuplet=tuplet.ratio if tuplet else None,
                    tuplet_start=tuplet is not None and piece.start == tuplet.start,
                    tuplet_stop=tuplet is not None and piece.end == tuplet.end,
                )
            )
    return items


def _plain_rests(item: Item, where: Bar) -> Iterator[Item]:
    """Write the rest of a measure that is no full one as rests that count."""
    if item.value is not None:
        yield item
        return
    for piece in spell(item.start, item.end, where, rest=True):
        yield replace(item, start=piece.start, end=piece.end, value=piece.value)


def _pieces(
    span: _Span, where: Bar, tuplets: list[_Tuplet]
) -> Iterator[tuple[Spelled, _Tuplet | None]]:
    """Cut a span at the tuplets that must be written, and spell each stretch."""
    rest = span.placement is None
    time = span.start
    for tuplet in tuplets:
        if tuplet.end <= time or tuplet.start >= span.end:
            continue
        if tuplet.start > time:
            for piece in spell(time, tuplet.start, where, rest=rest):
                yield piece, None
        start, end = max(time, tuplet.start), min(span.end, tuplet.end)
        for piece in _stretched(start, end, tuplet, rest=rest):
            yield piece, tuplet
        time = end
    if time < span.end:
        for piece in spell(time, span.end, where, rest=rest):
            yield piece, None


def _stretched(start: Fraction, end: Fraction, tuplet: _Tuplet, *, rest: bool) -> Iterator[Spelled]:
    stretch = Fraction(tuplet.ratio.actual, tuplet.ratio.normal)
    length = (tuplet.end - tuplet.start) * stretch
    unit = length / tuplet.ratio.actual
    beats = tuple(unit * n for n in range(tuplet.ratio.actual + 1))
    inside = Bar(length, beats, compound=False, middle=None)
    a, b = ((time - tuplet.start) * stretch for time in (start, end))
    for piece in spell(a, b, inside, rest=rest):
        yield Spelled(
            tuplet.start + piece.start / stretch, tuplet.start + piece.end / stretch, piece.value
        )


def _beamed(items: list[Item], where: Bar) -> list[Item]:
    shown = [index for index, item in enumerate(items) if not item.hidden and not item.small]
    groups = beam_groups(
        [(items[i].start, items[i].value if items[i].notes else None) for i in shown], where
    )
    result = list(items)
    for group in groups:
        members = [shown[position] for position in group]
        values = [value for value in (items[i].value for i in members) if value is not None]
        for i, words in zip(members, beams(values), strict=True):
            result[i] = replace(items[i], beams=tuple(words))
    return result
