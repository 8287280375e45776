"""Which instrument plays a part: as the lesson says, or by name, range, or default."""

from __future__ import annotations

from skeleton.analysis.lesson import Lesson
from skeleton.analysis.timeline import Timeline
from skeleton.score.model import Notice
from skeleton.theory.instrument import (
    INSTRUMENTS,
    Instrument,
    custom,
    from_part_name,
    from_range,
)
from skeleton.theory.interval import Interval, transpose
from skeleton.theory.pitch import Pitch


def part_instrument(timeline: Timeline, lesson: Lesson) -> tuple[Instrument, Notice | None]:
    """Return a part's instrument, and a notice of what was assumed unless the lesson says it.

    The part's name comes first, then its sounding range where that is plain, then the violin.
    """
    if lesson.open_strings is not None:
        name = lesson.instrument.name if lesson.instrument else "custom"
        return custom(lesson.open_strings, name), None
    if lesson.instrument is not None:
        return lesson.instrument, None
    part = timeline.part
    found = from_part_name(part.name)
    reason = f"its name {part.name!r}"
    if found is None:
        sounding = sounding_range(timeline)
        found = from_range(*sounding) if sounding else None
        reason = f"its range {sounding[0]} to {sounding[1]}" if sounding else ""
    if found is None:
        found, reason = INSTRUMENTS["violin"], "nothing in the score that says otherwise"
    strings = " ".join(map(str, found.open_strings))
    return found, Notice(
        "instrument-assumed",
        f"part {part.name or part.id} is read as a {found.name} ({strings}), going by {reason}; "
        "name another instrument if it is not",
        part.id,
    )


def sounding_range(timeline: Timeline) -> tuple[Pitch, Pitch] | None:
    """Return the lowest and highest sounding pitch of a part's attacks, None without any."""
    part = timeline.part
    written = {
        (note.pitch, part.transposition_at(note.onset_quarters, note.staff))
        if part.transpositions
        else (note.pitch, None)
        for note in timeline.attacks
    }
    sounding = [
        transpose(pitch, Interval(shift.diatonic, shift.chromatic)) if shift else pitch
        for pitch, shift in written
        if pitch is not None
    ]
    if not sounding:
        return None
    return min(sounding, key=_midi), max(sounding, key=_midi)


def _midi(pitch: Pitch) -> float:
    return float(pitch.midi)
