"""From placed events to written bars: lanes of notes and rests whose values add up.

Each staff of a reduction is written in as few lanes (voices) as its events allow: one where
nothing overlaps, else one for each voice of the etude; small notes have a lane of their own.
Times inside a bar are quarters from its barline.

Times off every grid (files whose durations were rounded) are moved to the nearest 64th; a note
that vanishes by this is reported. Tuplets: see :mod:`skeleton.export.reducing.tuplets`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from skeleton.analysis.beats import is_pickup
from skeleton.export.reducing.placement import Placement
from skeleton.export.reducing.rhythm import Bar, Spelled, Value, bar, beam_groups, beams, spell
from skeleton.export.reducing.tuplets import Tuplet, holding, rounded, stretched, tuplets_of
from skeleton.score.model import Notice, Part, TimeModification


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
    hidden: bool = False


def write_bars(
    part: Part, placements: Iterable[Placement]
) -> tuple[tuple[WrittenBar, ...], tuple[Notice, ...]]:
    """Spell a part's placements as measures; also returns what could not be written exactly."""
    staves = range(1, max(1, part.staves) + 1)
    by_staff: dict[int, list[list[Placement]]] = {staff: [[]] for staff in staves}
    events = list(placements)
    by_staff.update(_lanes(events))
    tuplets = tuplets_of(part)
    cut = {
        (staff, number): _by_measure(part, lane)
        for staff, lanes in by_staff.items()
        for number, lane in enumerate(lanes)
    }
    written: list[WrittenBar] = []
    for measure in part.measures:
        length = rounded(measure.length_quarters)
        where = bar(measure.metre, length, pickup=is_pickup(measure))
        found: list[Lane] = []
        for staff, lanes in by_staff.items():
            rows = [cut[staff, number].get(measure.index, []) for number in range(len(lanes))]
            here = tuplets.get((measure.index, staff), [])
            for row in _filled(rows, length):
                items = _items(_on_grid(row, here), where, here)
                if length != measure.metre.length_quarters:
                    items = [r for i in items for r in _plain_rests(i, where)]
                found.append(Lane(staff, tuple(_beamed(items, where))))
        written.append(WrittenBar(measure.index, length, tuple(found)))
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
        return replace(item, first=not again, tied_back=again, tied_on=left[item.notes] > 0)

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


def _on_grid(spans: list[_Span], tuplets: list[Tuplet]) -> list[_Span]:
    """Move edges that nothing can write; spans that have no length then go."""
    edges = {time for span in spans for time in (span.start, span.end)}
    needed = [t for t in dict.fromkeys(holding(edge, tuplets) for edge in edges) if t is not None]
    moved = {edge: _moved(edge, needed) for edge in edges}
    kept = [replace(span, start=moved[span.start], end=moved[span.end]) for span in spans]
    return [span for span in kept if span.start < span.end]


def _moved(edge: Fraction, needed: list[Tuplet]) -> Fraction:
    """The nearest time that can be written, where some tuplets are written as such."""
    if not any(tuplet.start < edge < tuplet.end for tuplet in needed):
        edge = rounded(edge)
    for tuplet in needed:
        if tuplet.start < edge < tuplet.end:
            inside = rounded((edge - tuplet.start) * tuplet.stretch) / tuplet.stretch
            return min(tuplet.start + inside, tuplet.end)
    return edge


def _items(spans: list[_Span], where: Bar, tuplets: list[Tuplet]) -> list[Item]:
    if len(spans) == 1 and spans[0].placement is None:
        span = spans[0]
        return [Item(span.start, span.end, None, hidden=span.hidden)]
    edges = {time for span in spans for time in (span.start, span.end)}
    needed = list(dict.fromkeys(t for t in (holding(edge, tuplets) for edge in sorted(edges)) if t))
    items: list[Item] = []
    for span in spans:
        for piece, tuplet in _pieces(span, where, needed):
            items.append(
                Item(
                    piece.start,
                    piece.end,
                    piece.value,
                    notes=span.placement.notes if span.placement is not None else (),
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
        for piece in stretched(start, end, tuplet, rest=rest):
            yield piece, tuplet
        time = end
    if time < span.end:
        for piece in spell(time, span.end, where, rest=rest):
            yield piece, None


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
