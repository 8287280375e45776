"""What a hand reaches on a string: in which of the first five positions a note is stopped.

All of it is common practice, no source; the rows for cello and double bass are from memory.

* Violin and viola count by letters: in position p the first finger stands p letters above the
  open string, and four fingers cover four letters. A note raised on the string's own letter
  (G sharp on the G string) is taken by the first finger drawn back, in first position.
* Cello and double bass count by half steps, for their letters lie too far apart for one finger
  each: a row says from which to which half step above the open string a position reaches, small
  extensions included.

Where two positions reach a note, the lower one is named. An open string is position 0.
"""

from __future__ import annotations

from typing import Final

from skeleton.theory.instrument import Instrument
from skeleton.theory.interval import Interval, between
from skeleton.theory.pitch import Pitch

HIGHEST_POSITION: Final = 5
"""Positions beyond this are not offered for a check."""

_FINGERS: Final = 4

HALF_STEP_REACH: Final[dict[str, tuple[tuple[int, int], ...]]] = {
    "cello": ((1, 5), (3, 7), (5, 8), (7, 10), (8, 12)),
    "double bass": ((1, 4), (3, 6), (5, 8), (7, 9), (8, 10)),
}
"""For each position from the first: lowest and highest half step above the open string."""


def position(instrument: Instrument, string: Pitch, pitch: Pitch) -> int | None:
    """Return the lowest position in which a pitch is stopped on an open string, or None.

    0 is the open string itself; None where the first five positions do not reach.
    """
    interval = between(string, pitch)
    if interval == Interval(0, 0):
        return 0
    if interval.semitones <= 0 or interval.steps < 0:
        return None
    rows = HALF_STEP_REACH.get(instrument.name)
    if rows is not None:
        for place, (lowest, highest) in enumerate(rows, start=1):
            if lowest <= interval.semitones <= highest:
                return place
        return None
    lowest_position = max(1, interval.steps - _FINGERS + 1)
    return lowest_position if lowest_position <= HIGHEST_POSITION else None
