"""Slurs: pairing their ends, and the events between them.

Ends are paired within a part, by number, in time order (a file may write a stop before its
start, because of ``<backup>``). Of several starts that are open the stop takes one of its own
voice and staff, then of its voice, its staff, any; the last opened first. On one note, stops
come before starts: a note may end one slur and begin the next. Grace notes stand before the
note they lean on. ``continue`` opens nothing.

The events of a slur are the attacks of its voice, of both voices where it crosses, from its
start to its stop. What is tied from before a slur into its start is its first event. A slur
that a file draws at every note of a chord is one slur.

Source: MusicXML 4.0, ``slur`` (number levels, ``start`` / ``continue`` / ``stop``). How real
files use it beyond that is common practice, no source.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, NamedTuple, TypeAlias

from skeleton.score.notes import RawNote

Time: TypeAlias = int | Fraction
Moment: TypeAlias = tuple[Time, int, int]

_EVENTS_PER_NOTE: Final = 32
"""Slurs that together hold more events than this per note are no music but a trap."""


class SlurEnd(NamedTuple):
    """A start or a stop of a slur at a note; ``order`` is its place in the document."""

    note: RawNote
    number: str
    order: int
    is_start: bool


class RawSlur(NamedTuple):
    """A paired slur in the units of the part's clock; ``first`` and ``last`` bear its ends."""

    start: SlurEnd
    stop: SlurEnd
    first: RawNote
    last: RawNote
    events: list[tuple[RawNote, ...]]
    onset: Time
    end: Time


@dataclass(frozen=True, slots=True)
class Complaint:
    """A slur end that could not be used as it stands."""

    code: str
    end: SlurEnd


def slur_ends(notes: Sequence[RawNote]) -> list[SlurEnd]:
    """Collect the starts and stops of a part's slurs in document order."""
    ends: list[SlurEnd] = []
    for note in notes:
        for kind, number in note.slurs:
            if kind in ("start", "stop"):
                ends.append(SlurEnd(note, number, len(ends), kind == "start"))
    return ends


def pair(ends: Sequence[SlurEnd]) -> tuple[list[tuple[SlurEnd, SlurEnd]], list[Complaint]]:
    """Pair starts with stops.

    Returns:
        The pairs in the order of their starts in time, and what was left over or in vain.
    """
    pairing = _Pairing()
    at: Moment | None = None
    stops: list[SlurEnd] = []
    for moment, is_start, _, end in sorted(
        [(_moment(end.note), end.is_start, end.order, end) for end in ends]
    ):
        if stops and (is_start or moment != at):
            pairing.close(stops)
            stops = []
        at = moment
        if is_start:
            pairing.open(end)
        else:
            stops.append(end)
    pairing.close(stops)
    pairs = pairing.pairs
    pairs.sort(key=lambda two: (_moment(two[0].note), two[0].order))
    return pairs, _complaints(pairing)


def _complaints(pairing: _Pairing) -> list[Complaint]:
    """Say what is left; a start and a stop left at one moment are one slur to nowhere."""
    lost = {(_moment(stop.note), stop.number): stop for stop in pairing.lost}
    in_vain: set[int] = set()
    complaints: list[Complaint] = []
    for start in pairing.waiting():
        twin = lost.pop((_moment(start.note), start.number), None)
        if twin is None:
            complaints.append(Complaint("slur-without-stop", start))
        else:
            in_vain.add(twin.order)
            complaints.append(Complaint("slur-within-one-event", start))
    complaints += [
        Complaint("slur-stop-without-start", stop)
        for stop in pairing.lost
        if stop.order not in in_vain
    ]
    complaints.sort(key=lambda complaint: complaint.end.order)
    return complaints


def join(notes: Sequence[RawNote], staves: int) -> tuple[list[RawSlur], list[Complaint]]:
    """Return a part's slurs with their events, and what was wrong with the others."""
    pairs, complaints = pair(slur_ends(notes))
    if not pairs:
        return [], complaints
    voices = _Voices(notes, staves)
    budget = _EVENTS_PER_NOTE * (len(notes) + 100)
    slurs: list[RawSlur] = []
    seen: set[tuple[int, int]] = set()
    for start, stop in pairs:
        span = start.note.lead, stop.note.lead
        if span in seen:
            continue  # drawn at several notes of a chord, or twice: one slur
        seen.add(span)
        if budget <= 0:
            complaints.append(Complaint("slur-crowd", start))
            continue
        slur = voices.slur(start, stop)
        budget -= len(slur.events)
        for end in (start, stop):
            if end.note.kind == "rest":
                complaints.append(Complaint("slur-on-rest", end))
        slurs.append(slur)
    return slurs, complaints


class _Pairing:
    """Starts that wait for a stop, found by number and then by voice and staff, last first.

    Nearly every stop finds its start in its own voice and staff, so the looser ways to find one
    are prepared when the first stop needs them.
    """

    def __init__(self) -> None:
        self.pairs: list[tuple[SlurEnd, SlurEnd]] = []
        self.lost: list[SlurEnd] = []
        self._waiting: dict[int, SlurEnd] = {}
        self._stacks: dict[tuple[str, str | None, int | None], list[SlurEnd]] = {}
        self._chords: dict[int, list[SlurEnd]] = {}
        self._sides = 1

    def open(self, start: SlurEnd) -> None:
        """Let a start wait."""
        self._waiting[start.order] = start
        for side in range(self._sides):
            stack = self._stacks.setdefault(_side(start, side), [])
            if side == 0 and stack and _in_one_chord(stack[-1], start):
                chord = self._chords.setdefault(stack[-1].order, [stack[-1]])
                chord.append(start)
                self._chords[start.order] = chord
            stack.append(start)

    def close(self, stops: Sequence[SlurEnd]) -> None:
        """Pair the stops of one moment, the surest first."""
        paired: list[SlurEnd] = []
        done: list[SlurEnd] = []
        for side in range(len(_SIDES)):
            if not stops:
                break
            if side == self._sides:
                self._prepare(side)
            unpaired: list[SlurEnd] = []
            for stop in stops:
                start = self._take(_side(stop, side))
                if start is not None:
                    self.pairs.append((start, stop))
                    paired.append(start)
                    done.append(stop)
                elif not any(_in_one_chord(other, stop) for other in done[-8:]):
                    unpaired.append(stop)
            stops = unpaired
        self.lost.extend(stops)
        if self._chords:
            for start in paired:
                for other in self._chords.pop(start.order, ()):
                    self._waiting.pop(other.order, None)

    def waiting(self) -> list[SlurEnd]:
        """Return the starts that no stop has taken, in time order."""
        return list(self._waiting.values())

    def _prepare(self, side: int) -> None:
        for start in self._waiting.values():
            self._stacks.setdefault(_side(start, side), []).append(start)
        self._sides = side + 1

    def _take(self, side: tuple[str, str | None, int | None]) -> SlurEnd | None:
        stack = self._stacks.get(side)
        while stack:
            start = self._waiting.pop(stack.pop().order, None)
            if start is not None:
                return start
        return None


_SIDES: Final = ((True, True), (True, False), (False, True), (False, False))
"""Whether a start must share the stop's voice, and its staff; the surest first."""


def _side(end: SlurEnd, side: int) -> tuple[str, str | None, int | None]:
    voice, staff = _SIDES[side]
    return end.number, end.note.voice if voice else None, end.note.staff if staff else None


def _in_one_chord(one: SlurEnd, other: SlurEnd) -> bool:
    """Whether two ends of one number stand at different notes of a chord: they are one end."""
    return (
        one.number == other.number
        and one.note is not other.note
        and one.note.lead == other.note.lead
    )


def _moment(note: RawNote) -> Moment:
    """Return the place in time; each grace note has one of its own before the note it leads to."""
    if note.grace:
        return note.onset, 0, note.lead
    return note.onset, 1, 0


_Event: TypeAlias = tuple[RawNote, ...]


class _Voices:
    """The attacks of each voice in time order, and the held notes at the starts of slurs."""

    def __init__(self, notes: Sequence[RawNote], staves: int) -> None:
        self._split = _voices_on_two_staves(notes) if staves > 1 else frozenset()
        self._lines: dict[object, dict[Time, _Event]] = {}
        self._held: dict[tuple[object, Time], _Event] = {}
        for note in notes:
            if note.pitch is None or note.grace or note.cue:
                continue
            voice = self._voice(note)
            onset = note.onset
            if note.continues is not None:
                self._held[voice, onset] = (*self._held.get((voice, onset), ()), note.attack)
                continue
            line = self._lines.setdefault(voice, {})
            line[onset] = (*line[onset], note) if onset in line else (note,)
        self._onsets: dict[object, list[Time]] = {
            voice: sorted(line) for voice, line in self._lines.items()
        }

    def _voice(self, note: RawNote) -> object:
        return (note.voice, note.staff) if note.voice in self._split else note.voice

    def slur(self, start: SlurEnd, stop: SlurEnd) -> RawSlur:
        """Return the slur with its events."""
        first, last = start.note, stop.note
        # A grace note stands before the note at its time, a rest is no place to stop on.
        before_stop = last.grace or last.kind == "rest"
        voice, other = self._voice(first), self._voice(last)
        events = self._between(voice, first.onset, last.onset, before_stop)
        if other != voice:
            events = _merged(events, self._between(other, first.onset, last.onset, before_stop))
        if self._held and not first.grace:
            held = self._held.get((voice, first.onset), ())
            if other != voice:
                held += self._held.get((other, first.onset), ())
            if held and events and events[0][0].onset == first.onset:
                events[0] = (*held, *events[0])
            elif held:
                events.insert(0, held)
        end = last.onset + last.duration
        if events:
            if first.kind == "rest":
                first = events[0][0]
            if last.kind == "rest":
                last = events[-1][-1]
                end = last.last_sound
            for note in events[-1]:
                end = max(end, note.last_sound)
        return RawSlur(start, stop, first, last, events, start.note.onset, end)

    def _between(self, voice: object, first: Time, last: Time, before_last: bool) -> list[_Event]:
        line = self._lines.get(voice)
        if line is None:
            return []
        onsets = self._onsets[voice]
        low = bisect_left(onsets, first)
        high = (bisect_left if before_last else bisect_right)(onsets, last, low)
        return [line[onset] for onset in onsets[low:high]]


def _merged(one: list[_Event], other: list[_Event]) -> list[_Event]:
    """Put the events of two voices into one row; what begins together is one event."""
    by_onset: dict[Time, _Event] = {}
    for event in sorted(one + other, key=lambda event: event[0].onset):
        onset = event[0].onset
        by_onset[onset] = by_onset.get(onset, ()) + event
    return list(by_onset.values())


def _voices_on_two_staves(notes: Sequence[RawNote]) -> frozenset[str | None]:
    """Find the voice numbers that name two lines at once, one on each of two staves."""
    where: dict[tuple[str | None, Time], int] = {}
    split: set[str | None] = set()
    for note in notes:
        if note.chord or note.grace or note.kind == "rest":
            continue
        if where.setdefault((note.voice, note.onset), note.staff) != note.staff:
            split.add(note.voice)
    return frozenset(split)
