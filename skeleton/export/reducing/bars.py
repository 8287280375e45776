"""From placed events to written bars: lanes of notes and rests whose values add up.

Each staff of a reduction is written in as few lanes (voices) as its events allow: one where
nothing overlaps, else one for each voice of the etude; small notes have a lane of their own.
Times inside a bar are ticks from its barline (:mod:`skeleton.export.reducing.ticks`).

Times off every grid (files whose durations were rounded) are moved to the nearest 64th; a note
that vanishes by this is reported. Tuplets: see :mod:`skeleton.export.reducing.tuplets`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from skeleton.analysis.beats import is_pickup
from skeleton.export.reducing.placement import Placement
from skeleton.export.reducing.rhythm import (
    Bar,
    Spelled,
    Value,
    bar,
    beam_groups,
    beams,
    on_grid,
    spell,
)
from skeleton.export.reducing.ticks import ticks_of, to_ticks
from skeleton.export.reducing.tuplets import Tuplet, holding, rounded, stretched, tuplets_of
from skeleton.score.model import Notice, Part, TimeModification


@dataclass(frozen=True, slots=True)
class Item:
    """One written note, chord or rest; a rest where ``notes`` is empty.

    ``first`` marks the piece that carries an event's attack; the others are tied to it.
    ``hidden`` rests only keep the time. ``tuplet_start`` and ``tuplet_stop`` open and close
    the tuplet that ``tuplet`` belongs to. ``value`` is None for the rest of a whole measure.
    """

    start: int
    end: int
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
    """A measure of the reduction. ``length`` is what every lane adds up to, ``unit`` ticks making
    a quarter.
    """  # noqa: D205 - the sentence needs its two lines

    index: int
    length: int
    unit: int
    lanes: tuple[Lane, ...]


@dataclass(frozen=True, slots=True)
class _Span:
    """A stretch of a lane inside one bar, not spelled yet."""

    start: int
    end: int
    placement: Placement | None = None
    hidden: bool = False


def write_bars(
    part: Part, placements: Iterable[Placement]
) -> tuple[tuple[WrittenBar, ...], tuple[Notice, ...]]:
    """Spell a part's placements as measures; also returns what could not be written exactly."""
    unit = ticks_of(part)
    staves = range(1, max(1, part.staves) + 1)
    by_staff: dict[int, list[list[Placement]]] = {staff: [[]] for staff in staves}
    events = list(placements)
    by_staff.update(_lanes(events))
    tuplets = tuplets_of(part, unit)
    cut = {
        staff: [_by_measure(part, lane, unit) for lane in lanes]
        for staff, lanes in by_staff.items()
    }
    written: list[WrittenBar] = []
    for measure in part.measures:
        length = rounded(to_ticks(measure.length_quarters, unit), unit)
        where = bar(measure.metre, length, unit, pickup=is_pickup(measure))
        is_full = length == to_ticks(measure.metre.length_quarters, unit)
        found: list[Lane] = []
        for staff, lanes in cut.items():
            here = tuplets.get((measure.index, staff), [])
            for row in _filled([lane.get(measure.index, []) for lane in lanes], length):
                items = _items(_on_grid(row, here, unit), where, here)
                if not is_full:
                    items = [r for i in items for r in _plain_rests(i, where)]
                found.append(Lane(staff, tuple(items)))
        written.append(WrittenBar(measure.index, length, unit, tuple(found)))
    bars, struck = _tied(written)
    return bars, tuple(_lost(part, [p for p in events if p.notes not in struck]))


def _tied(bars: list[WrittenBar]) -> tuple[tuple[WrittenBar, ...], set[tuple[str, ...]]]:
    """Tie the pieces of each event; also returns the events that are there."""
    left = Counter(item.notes for bar in bars for lane in bar.lanes for item in lane.items)
    struck: set[tuple[str, ...]] = set()

    def tied(item: Item) -> Item:
        if not item.notes:
            return item
        again = item.notes in struck
        struck.add(item.notes)
        left[item.notes] -= 1
        goes_on = left[item.notes] > 0
        if not again and not goes_on:
            return item
        return replace(item, first=not again, tied_back=again, tied_on=goes_on)

    return (
        tuple(
            replace(
                bar,
                lanes=tuple(
                    replace(lane, items=tuple(tied(item) for item in lane.items))
                    for lane in bar.lanes
                ),
            )
            for bar in bars
        ),
        struck,
    )


def _lost(part: Part, events: Iterable[Placement]) -> Iterator[Notice]:
    onsets = [measure.onset_quarters for measure in part.measures]
    counts = Counter(max(bisect_right(onsets, event.start) - 1, 0) for event in events)
    for index, count in sorted(counts.items()):
        yield Notice(
            "rhythm-too-fine",
            f"{count} skeleton note(s) are too short to write in the reduction and were left out",
            part.id,
            part.measures[index].number,
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


def _by_measure(part: Part, lane: list[Placement], unit: int) -> dict[int, list[_Span]]:
    """Cut a lane's events at the barlines."""
    onsets = [to_ticks(measure.onset_quarters, unit) for measure in part.measures]
    lengths = [to_ticks(measure.length_quarters, unit) for measure in part.measures]
    rows: dict[int, list[_Span]] = {}
    for placement in lane:
        start, stop = to_ticks(placement.start, unit), to_ticks(placement.end, unit)
        index = max(bisect_right(onsets, start) - 1, 0)
        while start < stop and index < len(onsets):
            barline = onsets[index]
            edge = barline + lengths[index]
            end = min(stop, edge)
            if end > start:
                rows.setdefault(index, []).append(_Span(start - barline, end - barline, placement))
            start = max(start, edge)
            index += 1
    return rows


def _filled(rows: list[list[_Span]], length: int) -> Iterator[list[_Span]]:
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
        time = 0
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


def _on_grid(spans: list[_Span], tuplets: list[Tuplet], unit: int) -> list[_Span]:
    """Move edges that nothing can write; spans that have no length then go."""
    edges = {time for span in spans for time in (span.start, span.end)}
    if all(on_grid(edge, unit) for edge in edges):
        return [span for span in spans if span.start < span.end]
    needed = _needed(edges, tuplets, unit)
    moved = {edge: _moved(edge, needed, unit) for edge in edges}
    kept = [replace(span, start=moved[span.start], end=moved[span.end]) for span in spans]
    return [span for span in kept if span.start < span.end]


def _needed(edges: Iterable[int], tuplets: list[Tuplet], unit: int) -> list[Tuplet]:
    """The tuplets that must be written as such, in order."""
    found = (holding(edge, tuplets, unit) for edge in sorted(edges))
    return list(dict.fromkeys(tuplet for tuplet in found if tuplet is not None))


def _moved(edge: int, needed: list[Tuplet], unit: int) -> int:
    """The nearest time that can be written, where some tuplets are written as such."""
    if not any(tuplet.start < edge < tuplet.end for tuplet in needed):
        edge = rounded(edge, unit)
    for tuplet in needed:
        if tuplet.start < edge < tuplet.end:
            inside = rounded(tuplet.written(edge), unit)
            return min(tuplet.real(inside), tuplet.end)
    return edge


def _items(spans: list[_Span], where: Bar, tuplets: list[Tuplet]) -> list[Item]:
    if len(spans) == 1 and spans[0].placement is None:
        span = spans[0]
        return [Item(span.start, span.end, None, hidden=span.hidden)]
    edges = {time for span in spans for time in (span.start, span.end)}
    needed = _needed(edges, tuplets, where.unit) if tuplets else []
    pieces = [(span, *piece) for span in spans for piece in _pieces(span, where, needed)]
    return [
        Item(
            piece.start,
            piece.end,
            piece.value,
            notes=span.placement.notes if span.placement is not None else (),
            first=span.placement is not None,
            small=span.placement is not None and span.placement.small,
            hidden=span.hidden,
            tuplet=tuplet.ratio if tuplet else None,
            tuplet_start=tuplet is not None and piece.start == tuplet.start,
            tuplet_stop=tuplet is not None and piece.end == tuplet.end,
            beams=words,
        )
        for (span, piece, tuplet), words in zip(
            pieces, _beams([(span, piece) for span, piece, _ in pieces], where), strict=True
        )
    ]


def _plain_rests(item: Item, where: Bar) -> Iterator[Item]:
    """Write the rest of a measure that is no full one as rests that count."""
    if item.value is not None:
        yield item
        return
    for piece in spell(item.start, item.end, where, rest=True):
        yield replace(item, start=piece.start, end=piece.end, value=piece.value)


def _pieces(
    span: _Span, where: Bar, tuplets: list[Tuplet]
) -> Iterator[tuple[Spelled, Tuplet | None]]:
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
        for piece in stretched(start, end, tuplet, where.unit, rest=rest):
            yield piece, tuplet
        time = end
    if time < span.end:
        for piece in spell(time, span.end, where, rest=rest):
            yield piece, None


def _beams(pieces: list[tuple[_Span, Spelled]], where: Bar) -> list[tuple[str, ...]]:
    """The beams of each piece of a lane; small and hidden ones have none and interrupt none."""
    shown = [
        index
        for index, (span, _) in enumerate(pieces)
        if not span.hidden and not (span.placement is not None and span.placement.small)
    ]
    row = [pieces[index] for index in shown]
    groups = beam_groups(
        [(piece.start, piece.value if span.placement else None) for span, piece in row], where
    )
    found: list[tuple[str, ...]] = [()] * len(pieces)
    for group in groups:
        for position, words in zip(group, beams([row[p][1].value for p in group]), strict=True):
            found[shown[position]] = tuple(words)
    return found
