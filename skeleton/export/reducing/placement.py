"""Where the notes of a reduction stand: the plan of the picture before any rhythm is spelled.

``bare``
    The rule's notes where a passage has any (and those the lesson file added), the open-string
    notes where it has none; both on request. A note that the rule took from a slur stands at
    the slur's start and lasts as long as the slur, so that a bar of slurred pairs reads as
    plain even notes. Where several notes of one slur are kept, the first stands at the slur's
    start, each next one at its own time. A note outside a slur stands at its own time; it is
    held to the end of the beat it ends in, as far as the next kept note allows.

``neighbours``
    The same, with every accidental at its true time. A skeleton note that an accidental of its
    own slur precedes waits for it and stands at its own time too.

Chords are kept whole. Nothing sounds over the note that follows it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from skeleton.analysis.beats import is_pickup
from skeleton.analysis.results import PartAnalysis, Passage, Rule, SkeletonNote
from skeleton.analysis.skeleton_notes import bow_slurs
from skeleton.analysis.timeline import timeline
from skeleton.export.reducing.rhythm import bar
from skeleton.export.reducing.ticks import ticks_of, to_ticks
from skeleton.score.model import Note, Part


@dataclass(frozen=True, slots=True)
class Placement:
    """One event of the reduction: what sounds, from when to when, in quarters of the part.

    ``notes`` are the ids of the chord's members in document order. ``snapped`` events were
    moved to their slur's start. ``small`` ones are accidentals hung on the skeleton.
    """

    start: Fraction
    end: Fraction
    notes: tuple[str, ...]
    staff: int
    voice: str
    snapped: bool = False
    small: bool = False


@dataclass(frozen=True, slots=True)
class _Event:
    """All notes of one voice and staff that begin together; times in ticks, like the other ones
    of what is not public here.
    """  # noqa: D205 - the sentence needs its two lines

    onset: int
    end: int
    notes: tuple[str, ...]
    staff: int
    voice: str


@dataclass(frozen=True, slots=True)
class _Placed:
    """Where an event stands."""

    start: int
    end: int
    event: _Event
    snapped: bool = False
    small: bool = False


def kept_ids(
    found: PartAnalysis, passages: Iterable[Passage], *, keep_open_strings: bool
) -> set[str]:
    """Return the ids of the skeleton notes that the bare reduction keeps."""
    kept: set[str] = set()
    for group in _by_passage(found.skeleton, passages):
        chosen = {note.place.id for note in group if _by_rule(note)}
        if keep_open_strings or not chosen:
            chosen |= {note.place.id for note in group}
        kept |= chosen
    return kept


def place(
    part: Part,
    found: PartAnalysis,
    passages: Iterable[Passage],
    rule: Rule,
    *,
    keep_open_strings: bool = False,
    accidentals: bool = False,
) -> tuple[Placement, ...]:
    """Return the events of a part's reduction in time order.

    ``accidentals`` adds the accidental notes that are not kept already, as small events.
    """
    unit = ticks_of(part)
    events = _events(part, unit)
    kept = kept_ids(found, passages, keep_open_strings=keep_open_strings)
    hung = {note.place.id for note in found.accidentals} if accidentals else set()
    big = [event for event in events if not kept.isdisjoint(event.notes)]
    small = [event for event in events if kept.isdisjoint(event.notes) and hung & set(event.notes)]
    starts = {} if rule == "on-beat" else _slur_spans(part, big, small, unit)
    beats = _Beats(part, unit)
    lanes: dict[tuple[int, str], list[_Placed]] = {}
    for event in big:
        lanes.setdefault((event.staff, event.voice), []).append(
            _placed(event, starts.get(event.notes), beats)
        )
    for event in small:
        lanes.setdefault((event.staff, event.voice), []).append(
            _Placed(event.onset, event.end, event, small=True)
        )
    placed = [one for lane in lanes.values() for one in _in_line(_yield_place(lane))]
    placed.sort(key=lambda one: (one.start, one.event.staff, one.event.voice))
    return tuple(
        Placement(
            Fraction(one.start, unit),
            Fraction(one.end, unit),
            one.event.notes,
            one.event.staff,
            one.event.voice,
            one.snapped,
            one.small,
        )
        for one in placed
    )


def _by_rule(note: SkeletonNote) -> bool:
    return any(reason != "open-string" for reason in note.reasons)


def _by_passage(
    notes: Iterable[SkeletonNote], passages: Iterable[Passage]
) -> Iterator[list[SkeletonNote]]:
    """Group notes by passage; those outside all passages by measure, so that none is lost."""
    spans = sorted(passages, key=lambda passage: passage.first_index)
    firsts = [passage.first_index for passage in spans]
    groups: dict[tuple[str, int], list[SkeletonNote]] = {}
    for note in notes:
        measure = note.place.measure_index
        index = bisect_right(firsts, measure) - 1
        inside = index >= 0 and spans[index].holds(measure)
        key = ("passage", index) if inside else ("measure", measure)
        groups.setdefault(key, []).append(note)
    yield from groups.values()


def _events(part: Part, unit: int) -> list[_Event]:
    """Every attack of the part with its whole sounding length; grace notes take no time."""
    head: dict[str, str] = {}
    ends: dict[str, int] = {}
    found: dict[tuple[int, int, str], list[Note]] = {}
    for note in part.notes:
        if note.pitch is None or note.cue or note.grace:
            continue
        onset = to_ticks(note.onset_quarters, unit)
        end = onset + to_ticks(note.duration_quarters, unit)
        first = head.get(note.tied_from, note.id) if note.tied_from is not None else note.id
        head[note.id] = first
        ends[first] = max(ends.get(first, end), end)
        if note.tied_from is None and end > onset:
            found.setdefault((onset, note.staff, note.voice), []).append(note)
    return [
        _Event(
            onset=onset,
            end=max([ends[note.id] for note in notes]),
            notes=tuple([note.id for note in notes]),
            staff=staff,
            voice=voice,
        )
        for (onset, staff, voice), notes in sorted(found.items(), key=lambda item: item[0])
    ]


def _slur_spans(
    part: Part, big: list[_Event], small: list[_Event], unit: int
) -> dict[tuple[str, ...], tuple[int, int, bool]]:
    """Start, end and whether it was moved, for each kept event that stands inside a slur."""
    of_note = {note: event for event in (*big, *small) for note in event.notes}
    keeps = {note for event in big for note in event.notes}
    spans: dict[tuple[str, ...], tuple[int, int, bool]] = {}
    for slur in bow_slurs(timeline(part)).written:
        slur_start = to_ticks(slur.onset_quarters, unit)
        slur_end = to_ticks(slur.end_quarters, unit)
        inside: dict[tuple[str, ...], _Event] = {}
        for members in slur.events:
            for note in members:
                event = of_note.get(note)
                if event is not None and event.onset >= slur_start:
                    inside.setdefault(event.notes, event)
        row = list(inside.values())
        onsets = sorted({event.onset for event in row})
        for event in row:
            if event.notes in spans or keeps.isdisjoint(event.notes):
                continue
            next_onset = next((onset for onset in onsets if onset > event.onset), None)
            first = event.onset == onsets[0]
            spans[event.notes] = (
                slur_start if first else event.onset,
                next_onset if next_onset is not None else max(slur_end, event.end),
                first,
            )
    return spans


class _Beats:
    """The beats of a part."""

    def __init__(self, part: Part, unit: int) -> None:
        self._part = part
        self._unit = unit
        self._barlines = [to_ticks(measure.onset_quarters, unit) for measure in part.measures]

    def end_of(self, time: int) -> int:
        """The first beat at or after a time, barlines included."""
        index = max(bisect_right(self._barlines, time) - 1, 0)
        measure, barline = self._part.measures[index], self._barlines[index]
        length = to_ticks(measure.length_quarters, self._unit)
        where = bar(measure.metre, length, self._unit, pickup=is_pickup(measure))
        offset = time - barline
        return barline + next((beat for beat in where.beats if beat >= offset), offset)


def _placed(event: _Event, span: tuple[int, int, bool] | None, beats: _Beats) -> _Placed:
    if span is not None:
        start, end, first = span
        return _Placed(start, end, event, snapped=first and start < event.onset)
    return _Placed(event.onset, beats.end_of(event.end), event)


def _yield_place(lane: list[_Placed]) -> list[_Placed]:
    """Where two events claim one start, send the moved one back to its own time."""
    claims = Counter(placed.start for placed in lane)
    return [
        replace(placed, start=placed.event.onset, snapped=False)
        if placed.snapped and claims[placed.start] > 1
        else placed
        for placed in lane
    ]


def _in_line(lane: list[_Placed]) -> Iterator[_Placed]:
    """Order a voice's events and end each where the next begins."""
    lane = sorted(lane, key=lambda placed: placed.start)
    for placed, following in pairwise(lane):
        end = min(placed.end, following.start)
        if end > placed.start:
            yield placed if end == placed.end else replace(placed, end=end)
    yield from lane[-1:]
