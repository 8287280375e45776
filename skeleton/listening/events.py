"""What a player does one after another: the events that an alignment looks for in a take.

An event is everything that begins together: a note, a double stop, two voices that strike
together. It lasts until the next one begins or all of it has ended. Tied continuations lengthen
their attack; what an earlier event still holds is named, since it sounds along.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from skeleton.score.model import Note, Part

GRACE_QUARTERS: Final = Fraction(1, 8)
"""How long a grace note is taken to last; whoever plays it decides (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class ScoreEvent:
    """One thing to play.

    Attributes:
        notes: ids of the notes that begin, in document order.
        hz: where each of them is to sound.
        held_hz: what is held on from before.
        onset_quarters: from the start of the part.
        quarters: until the next event or the end of its longest note.
        measure: ordinal of its measure.
        first_in_measure: whether it is the first event of its measure.
        grace: whether it is a grace note.
        rest_after: whether a written rest follows.
    """

    notes: tuple[str, ...]
    hz: tuple[float, ...]
    held_hz: tuple[float, ...]
    onset_quarters: Fraction
    quarters: Fraction
    measure: int
    first_in_measure: bool
    grace: bool
    rest_after: bool


def score_events(
    part: Part, hz: Mapping[str, float], first_measure: int = 0, last_measure: int | None = None
) -> tuple[ScoreEvent, ...]:
    """Return the events of a part in the order in which they are played.

    Args:
        part: the part as read; repeats are not unfolded (a player who goes back is followed).
        hz: the sounding pitch of each note that begins; notes without one are left out.
        first_measure: ordinal of the first measure wanted.
        last_measure: ordinal of the last one, by default the part's last.
    """
    last = len(part.measures) - 1 if last_measure is None else last_measure
    ends = _ends(part)
    attacks = [
        note
        for note in part.notes
        if note.is_attack and note.id in hz and first_measure <= note.measure <= last
    ]
    groups = _groups(attacks)
    found = []
    measures: set[int] = set()
    for place, (onset, group) in enumerate(groups):
        grace = group[0].grace
        following = groups[place + 1][0] if place + 1 < len(groups) else None
        end = max(ends[note.id] for note in group)
        if grace:
            length = GRACE_QUARTERS
        else:
            length = end - onset if following is None else min(end, following) - onset
        held = [
            hz[note.id]
            for _, earlier in groups[max(0, place - 8) : place]
            for note in earlier
            if not note.grace and ends[note.id] > onset
        ]
        measure = group[0].measure
        found.append(
            ScoreEvent(
                tuple(note.id for note in group),
                tuple(hz[note.id] for note in group),
                tuple(held) if not grace else (),
                onset,
                max(length, Fraction(1, 64)),
                measure,
                measure not in measures,
                grace,
                following is not None and not grace and following > end,
            )
        )
        measures.add(measure)
    return tuple(found)


def _groups(attacks: list[Note]) -> list[tuple[Fraction, list[Note]]]:
    """Attacks that begin together; grace notes one by one, chords of them together."""
    attacks = sorted(attacks, key=lambda note: (note.onset_quarters, not note.grace, note.index))
    groups: list[tuple[Fraction, list[Note]]] = []
    for note in attacks:
        if groups:
            onset, group = groups[-1]
            together = note.chord if note.grace else onset == note.onset_quarters
            if together and group[0].grace == note.grace:
                group.append(note)
                continue
        groups.append((note.onset_quarters, [note]))
    return groups


def _ends(part: Part) -> dict[str, Fraction]:
    """Where each attack stops sounding, its tied continuations included."""
    origin: dict[str, str] = {}
    ends: dict[str, Fraction] = {}
    for note in part.notes:
        first = origin.get(note.tied_from, note.tied_from) if note.tied_from else note.id
        origin[note.id] = first
        ends[first] = max(ends.get(first, Fraction(0)), note.end_quarters)
    return ends
