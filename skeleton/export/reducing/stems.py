"""Stem directions for the reduction, where slurs must know on which side the heads are.

Common practice, no source: a note above the middle line takes its stem down, one below it up;
on the middle line, down. Notes under one beam, and the members of a chord, follow the one that
is farthest from the middle line. Lanes that share a staff point away from each other.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Final, Literal

from skeleton.export.reducing.bars import Item, Lane, WrittenBar
from skeleton.score.model import Part
from skeleton.theory.pitch import DIATONIC

Stem = Literal["up", "down"]

_CLEF_PITCHES: Final = {
    "G": 7 * 4 + DIATONIC["G"],
    "F": 7 * 3 + DIATONIC["F"],
    "C": 7 * 4 + DIATONIC["C"],
}
"""Letters above C0 of the line that a clef names (MusicXML 4.0, clef-sign)."""

_CLEF_LINES: Final = {"G": 2, "F": 4, "C": 3}
_TREBLE_MIDDLE: Final = 7 * 4 + DIATONIC["B"]


def stems(part: Part, bars: Iterable[WrittenBar]) -> dict[tuple[str, ...], Stem]:
    """Return the direction for each event (by its notes) that is written large."""
    heights = {note.id: note.pitch.diatonic for note in part.notes if note.pitch is not None}
    found: dict[tuple[str, ...], Stem] = {}
    for bar in bars:
        onset = part.measures[bar.index].onset_quarters
        for staff in {lane.staff for lane in bar.lanes}:
            lanes = [lane for lane in bar.lanes if lane.staff == staff]
            large = [lane for lane in lanes if any(i.notes and not i.small for i in lane.items)]
            for number, lane in enumerate(large):
                for group in _beamed_together(lane):
                    if len(large) > 1:
                        stem: Stem = "up" if number == 0 else "down"
                    else:
                        time = onset + Fraction(group[0].start, bar.unit)
                        middle = _middle_line(part, time, staff)
                        distances = [heights[n] - middle for item in group for n in item.notes]
                        farthest = max(distances, key=lambda d: (abs(d), d))
                        stem = "down" if farthest >= 0 else "up"
                    for item in group:
                        found.setdefault(item.notes, stem)
    return found


def _beamed_together(lane: Lane) -> Iterator[list[Item]]:
    group: list[Item] = []
    for item in lane.items:
        if not item.notes or item.small:
            continue
        group.append(item)
        if not item.beams or item.beams[0] == "end":
            yield group
            group = []
    if group:
        yield group


def _middle_line(part: Part, time: Fraction, staff: int) -> int:
    """Letters above C0 of the middle line of a staff."""
    upto = bisect_right(part.clefs, time, key=lambda clef: clef.onset_quarters)
    for clef in reversed(part.clefs[:upto]):
        if clef.staff == staff and clef.sign in _CLEF_PITCHES:
            line = clef.line or _CLEF_LINES[clef.sign]
            return _CLEF_PITCHES[clef.sign] + 2 * (3 - line) + 7 * clef.octaves
    return _TREBLE_MIDDLE
