"""What a lesson says of single notes and measures, found in the score it is meant for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from fractions import Fraction
from typing import Any, Final

from skeleton.analysis.lesson import Lesson, LessonNote, LessonPassage
from skeleton.analysis.lesson_values import pitch_or_class
from skeleton.analysis.results import Passage
from skeleton.analysis.timeline import Timeline
from skeleton.errors import LessonError, OptionError
from skeleton.score.model import Measure, Note, Score
from skeleton.theory.pitch import Pitch, PitchClass

_BEAT_ROUNDING: Final = Fraction(1, 1_000_000)
"""Beats copied from an output are rounded to six decimals."""


@dataclass(frozen=True, slots=True)
class Decisions:
    """A lesson's decisions about the notes of one part, by the numbers of its attacks.

    ``added`` and ``removed`` are what goes into and out of the skeleton. ``anchors`` gives
    accidentals the note they hang on; such a note is in ``added`` as well.
    """

    added: frozenset[int] = frozenset()
    removed: frozenset[int] = frozenset()
    anchors: Mapping[int, int] = field(default_factory=dict)


def decide(score: Score, lesson: Lesson, timelines: Sequence[Timeline]) -> list[Decisions]:
    """Find the notes that a lesson speaks of; one result for each part that is analysed.

    Notes of parts that are not analysed are passed over.

    Raises:
        LessonError: there is no such note, several fit, or two entries contradict each other.
    """
    skeleton: list[dict[int, bool]] = [{} for _ in timelines]
    anchors: list[dict[int, int]] = [{} for _ in timelines]
    for place, entry in enumerate(lesson.notes, start=1):
        where = f"{lesson.source}: note {place}"
        found = _find(score, timelines, entry, where)
        if found is None:
            continue
        part, attack = found
        if entry.skeleton is not None:
            _put(skeleton[part], attack, entry.skeleton, f"{where}: key 'skeleton'")
        if entry.anchor is not None:
            anchor = _anchor(timelines[part], attack, entry.anchor, f"{where}: key 'anchor'")
            _put(anchors[part], attack, anchor, f"{where}: key 'anchor'")
    for timeline, chosen, hung in zip(timelines, skeleton, anchors, strict=True):
        for attack in hung.values():
            if chosen.get(attack) is False:
                note = timeline.attacks[attack]
                raise LessonError(
                    f"{lesson.source}: note {note.id!r} ({note.pitch}) is an anchor and has "
                    "skeleton = false; keep one of the two"
                )
    return [
        Decisions(
            frozenset(one for one, wanted in chosen.items() if wanted) | set(hung.values()),
            frozenset(one for one, wanted in chosen.items() if not wanted),
            hung,
        )
        for chosen, hung in zip(skeleton, anchors, strict=True)
    ]


def lesson_passages(lesson: Lesson, measures: Sequence[Measure]) -> tuple[Passage, ...]:
    """Return a lesson's passages in score order, found by printed measure number.

    A number stands for the first measure that prints it and, as an end, for those that directly
    follow with the same number (a measure split by a repeat).

    Raises:
        LessonError: there is no such measure, or a passage ends before it begins.
    """
    found = [_passage(lesson, place, measures) for place in range(len(lesson.passages))]
    return tuple(sorted(found, key=lambda one: (one.first_index, one.last_index)))


def _passage(lesson: Lesson, place: int, measures: Sequence[Measure]) -> Passage:
    passage: LessonPassage = lesson.passages[place]
    where = f"{lesson.source}: passage {place + 1} ({passage.name!r}): key 'measures'"
    first_number, last_number = passage.measures
    numbers = [measure.number for measure in measures]
    for number in passage.measures:
        if number not in numbers:
            raise LessonError(
                f"{where}: no measure {number}; the score has {numbers[0]} to {numbers[-1]}"
            )
    first = numbers.index(first_number)
    if last_number not in numbers[first:]:
        raise LessonError(f"{where}: {first_number}-{last_number} ends before it begins; swap them")
    last = numbers.index(last_number, first)
    while last + 1 < len(numbers) and numbers[last + 1] == last_number:
        last += 1
    return Passage(passage.name, first, last, numbers[first], numbers[last])


def _put(known: dict[int, Any], attack: int, value: object, where: str) -> None:
    if known.setdefault(attack, value) != value:
        raise LessonError(f"{where} contradicts an earlier entry for the same note; keep one")


def _find(
    score: Score, timelines: Sequence[Timeline], entry: LessonNote, where: str
) -> tuple[int, int] | None:
    """Return which part and which of its attacks an entry speaks of; None in other parts."""
    if entry.id is None:
        return _find_by_place(timelines, entry, where)
    for part, timeline in enumerate(timelines):
        if entry.id in timeline.index:
            return part, timeline.index[entry.id]
    analysed = {timeline.part.id for timeline in timelines}
    for other in score.parts:
        if any(note.id == entry.id for note in other.notes):
            if other.id not in analysed:
                return None
            raise LessonError(
                f"{where}: key 'id': {entry.id!r} is a rest, a cue or has no pitch; name a note "
                "that is played"
            )
    ids = [note.id for timeline in timelines for note in timeline.attacks]
    close = get_close_matches(entry.id, ids, n=1)
    advice = f"did you mean {close[0]!r}?" if close else "the outline (as JSON) lists the ids"
    raise LessonError(f"{where}: key 'id': no note {entry.id!r}; {advice}")


def _find_by_place(timelines: Sequence[Timeline], entry: LessonNote, where: str) -> tuple[int, int]:
    beat = entry.beat or Fraction(1)
    in_measure = [
        (part, attack, note)
        for part, timeline in enumerate(timelines)
        for attack, note in enumerate(timeline.attacks)
        if timeline.part.measures[note.measure].number == entry.measure
    ]
    if not in_measure:
        raise LessonError(
            f"{where}: key 'measure': no notes in a measure {entry.measure}; write the number as "
            "printed"
        )
    beats = [timelines[part].part.beat(note) for part, _, note in in_measure]
    on_beat = [
        found
        for found, at in zip(in_measure, beats, strict=True)
        if abs(at - beat) <= _BEAT_ROUNDING
    ]
    if not on_beat:
        known = ", ".join(dict.fromkeys(str(at) for at in sorted(beats)))
        raise LessonError(
            f"{where}: key 'beat': no note of measure {entry.measure} begins on beat {beat}; "
            f"notes begin on {known}"
        )
    fitting = [found for found in on_beat if _is_named(found[2], entry.pitch)]
    if not fitting:
        known = ", ".join(str(note.pitch) for _, _, note in on_beat)
        raise LessonError(
            f"{where}: key 'pitch': no {entry.pitch} in measure {entry.measure} on beat {beat}; "
            f"there is {known}"
        )
    if len(fitting) > 1:
        # A grace note shares the onset of the note it leans on; that note is meant.
        fitting = [found for found in fitting if not found[2].grace] or fitting
    if len(fitting) > 1:
        known = ", ".join(f"{note.pitch} (id {note.id})" for _, _, note in fitting)
        raise LessonError(
            f"{where}: measure {entry.measure}, beat {beat} has {len(fitting)} such notes: "
            f"{known}; write a pitch with its octave, or an id"
        )
    return fitting[0][0], fitting[0][1]


def _is_named(note: Note, wanted: Pitch | PitchClass | None) -> bool:
    if wanted is None or note.pitch is None:
        return True
    return wanted in (note.pitch, note.pitch.pitch_class)


def _anchor(timeline: Timeline, attack: int, text: str, where: str) -> int:
    """Return the attack that an accidental is to hang on."""
    if text in timeline.index:
        anchor = timeline.index[text]
        if anchor == attack:
            raise LessonError(f"{where}: {text!r} is the note itself; name another")
        return anchor
    try:
        wanted = pitch_or_class(text)
    except OptionError:
        raise LessonError(
            f"{where}: {text!r} is no note of this part; write a pitch such as G5 or a note's id"
        ) from None
    named = [
        other
        for other, note in enumerate(timeline.attacks)
        if other != attack and _is_named(note, wanted)
    ]
    if not named:
        raise LessonError(f"{where}: the part has no other {wanted}; name a note that it has")
    here = timeline.ticks[attack]
    return min(named, key=lambda other: (abs(timeline.ticks[other] - here), -other))
