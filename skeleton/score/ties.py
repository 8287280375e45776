"""Which note a tied note continues.

A continuation is linked to the note that starts a tie, has the same letter, alteration and
octave, and ends where the continuation begins: one in the same voice first, then one on the
same staff, then any. Each start is taken once. Notes may stand in any order in the file. In a
chord whose notes are counted with different durations, the end of the chord will do as well.

Source: MusicXML 4.0, ``tie`` (sound) and ``tied`` (print); the sound is believed first.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from fractions import Fraction
from itertools import product
from typing import Final

from skeleton.score.notes import TIE_START, TIE_STOP, RawNote


def tie_marks(note: RawNote) -> int:
    """Return what the file says of the note's ties: TIE_START, TIE_STOP, both or 0."""
    return note.tie or note.tied


def link_ties(notes: Iterable[RawNote]) -> list[RawNote]:
    """Set ``continues``, ``head`` and ``sounding_end`` in the tied notes of a part.

    Returns:
        The notes that say they continue another, where there is none to continue: they are
        played.
    """
    starts: list[RawNote] = []
    waiting: list[RawNote] = []
    for note in notes:
        marks = note.tie or note.tied
        if marks and note.pitch is not None and not note.cue:
            if marks & TIE_START:
                starts.append(note)
            if marks & TIE_STOP:
                waiting.append(note)
    linked: list[tuple[RawNote, RawNote]] = []
    for end, side in product((_end, _chord_end), _SIDES):
        if not starts or not waiting:
            break
        queues: dict[object, deque[RawNote]] = {}
        for start in starts:
            place = (start.pitch, end(start), side(start))
            queues.setdefault(place, deque()).append(start)
        unlinked: list[RawNote] = []
        for note in waiting:
            queue = queues.get((note.pitch, note.onset, side(note)))
            if queue and _before(queue[0], note):
                note.continues = queue.popleft()
                linked.append((note, note.continues))
            else:
                unlinked.append(note)
        starts = [start for queue in queues.values() for start in queue]
        waiting = unlinked
    linked.sort(key=_time)
    for note, before in linked:  # in time order, so that a chain is followed from its head
        note.head = head = before.attack
        head.sounding_end = note.onset + note.duration
    return waiting


def _before(start: RawNote, note: RawNote) -> bool:
    """Whether a start can lead to the note: one without length must stand before it."""
    return start.onset < note.onset or start.index < note.index


def _time(link: tuple[RawNote, RawNote]) -> tuple[int | Fraction, int]:
    return link[0].onset, link[0].index


def _end(note: RawNote) -> int | Fraction:
    return note.onset + note.duration


def _chord_end(note: RawNote) -> int | Fraction:
    """Where the chord ends, for a note in it that the file counts shorter or longer."""
    return _end(note) if note.chord_duration is None else note.onset + note.chord_duration


def _voice(note: RawNote) -> str | None:
    return note.voice


def _staff(note: RawNote) -> int:
    return note.staff


def _any(_note: RawNote) -> None:
    return None


_SIDES: Final[tuple[Callable[[RawNote], object], ...]] = (_voice, _staff, _any)
