"""From a score and a lesson to everything the score stands on: the one way in.

A skeleton belongs to the edition in hand. Two editions of one work often agree in the notes and
not in the slurs, so nothing here speaks of *the* skeleton of a work.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Any, Final

from skeleton.analysis.accidentals import accidentals
from skeleton.analysis.anchors import Choice, choose_anchors
from skeleton.analysis.decisions import Decisions, decide, lesson_passages
from skeleton.analysis.fit import PartReading, rule_fit
from skeleton.analysis.lesson import Lesson
from skeleton.analysis.lesson_values import rule as checked_rule
from skeleton.analysis.matches import enharmonic_twins, match_groups
from skeleton.analysis.part_instrument import part_instrument
from skeleton.analysis.part_notices import part_notices
from skeleton.analysis.passages import passages_by_rule
from skeleton.analysis.results import (
    AccidentalNote,
    Analysis,
    Anchor,
    PartAnalysis,
    Passage,
    SkeletonNote,
)
from skeleton.analysis.skeleton_notes import (
    bow_slurs,
    open_string_notes,
    rule_notes,
    skeleton_notes,
)
from skeleton.analysis.timeline import Timeline, ticks_per_quarter, timeline
from skeleton.errors import LessonError, OptionError, ScoreError
from skeleton.score.collecting import no_collection
from skeleton.score.model import Key, Part, Score
from skeleton.theory.instrument import Instrument
from skeleton.theory.tuning import check_a4_hz

_MOST_AT_ONCE: Final = 1000


@dataclass(frozen=True, slots=True)
class _Draft:
    """A part on its way to its analysis; notes are spoken of by the numbers of their attacks."""

    reading: PartReading
    by_rule: dict[int, int]
    decisions: Decisions
    skeleton: dict[int, SkeletonNote]
    accidentals: tuple[AccidentalNote, ...]


@no_collection()
def analyse(
    score: Score,
    lesson: Lesson | None = None,
    *,
    part: str | None = None,
    rule: str | None = None,
    key: Key | None = None,
    key_signs: bool | None = None,
    instrument: Instrument | None = None,
    a4_hz: float | None = None,
    keep_open_strings: bool | None = None,
) -> Analysis:
    """Find skeleton, accidentals, anchors, matches and passages of a score.

    Args:
        score: the score as read.
        lesson: the teacher's decisions; the defaults where there are none.
        part: id or name of the one part to analyse; all parts where None.
        rule: which notes the skeleton takes; this and the options below come before the lesson.
        key: a signature to read against instead of the score's own (as written on the page).
        key_signs: whether the signature's own sharps and flats are treated as accidentals.
        instrument: whose open strings count, for every part that is analysed.
        a4_hz: what the strings are tuned from, in Hz.
        keep_open_strings: whether a reduction is to keep the open-string notes everywhere.

    Returns:
        The analysis. Its notices begin with the score's own.

    Raises:
        OptionError: an option does not fit: no such part or rule.
        LessonError: the lesson speaks of a part, measure or note that the score lacks.
        ScoreError: the score holds no part, or thousands of notes at one time.
    """
    lesson = Lesson() if lesson is None else lesson
    parts = _selected(score, lesson, part)
    given: dict[str, Any] = {
        "rule": None if rule is None else checked_rule(rule),
        "key": key,
        "key_signs": key_signs,
        "instrument": instrument,
        "a4_hz": None if a4_hz is None else check_a4_hz(a4_hz),
        "keep_open_strings": keep_open_strings,
    }
    lesson = replace(lesson, **{name: value for name, value in given.items() if value is not None})
    if instrument is not None:
        lesson = replace(lesson, open_strings=None)

    unit = ticks_per_quarter(score.parts)
    timelines = [timeline(one, unit) for one in parts]
    for one in timelines:
        _check_crowd(one, score.source.name)
    instruments, assumed = zip(*(part_instrument(one, lesson) for one in timelines), strict=True)
    decisions = decide(score, lesson, timelines)
    passages = _passages(score, lesson, timelines)
    drafts = [
        _draft(one, lesson, chosen, decided)
        for one, chosen, decided in zip(timelines, instruments, decisions, strict=True)
    ]
    fit = rule_fit([draft.reading for draft in drafts])
    notices = [notice for notice in assumed if notice is not None]
    for draft in drafts:
        notices.extend(
            part_notices(
                draft.reading,
                draft.accidentals,
                draft.by_rule,
                draft.decisions,
                lesson=lesson,
                fit=fit,
            )
        )
    return Analysis(
        score=score,
        rule=lesson.rule,
        rule_fit=fit,
        parts=tuple(
            PartAnalysis(
                one.id,
                chosen,
                tuple(draft.skeleton.values()),
                draft.accidentals,
                match_groups(one.id, draft.accidentals),
                enharmonic_twins(one.id, draft.accidentals, passages),
            )
            for one, chosen, draft in zip(parts, instruments, drafts, strict=True)
        ),
        passages=passages,
        notices=(*score.notices, *notices),
        a4_hz=lesson.a4_hz,
        keep_open_strings=lesson.keep_open_strings,
        leans=lesson.leans,
    )


def _check_crowd(part: Timeline, name: str) -> None:
    """Refuse thousands of notes at one time: each would be compared with each of the others."""
    played = [place for place, note in enumerate(part.attacks) if not note.grace]
    for first, last in zip(played, played[_MOST_AT_ONCE:], strict=False):
        if part.ticks[first] == part.ticks[last]:
            where = part.part.measures[part.attacks[first].measure].number
            raise ScoreError(
                f"{name}: part {part.part.id}, measure {where}: has more than {_MOST_AT_ONCE} "
                "notes at one time, which nobody plays; export the score again"
            )


def _selected(score: Score, lesson: Lesson, wanted: str | None) -> list[Part]:
    if not score.parts:
        raise ScoreError(
            f"{score.source.name}: no part with pitched notes; name a score that has one"
        )
    name = lesson.part if wanted is None else wanted
    if name is None:
        return list(score.parts)
    found = [one for one in score.parts if one.id == name] or [
        one for one in score.parts if (one.name or "").casefold() == name.casefold()
    ]
    if len(found) == 1:
        return found
    listed = ", ".join(f"{one.id} ({one.name})" if one.name else one.id for one in score.parts)
    names = [text for one in score.parts for text in (one.id, one.name) if text]
    close = get_close_matches(name, names, n=1)
    advice = f"did you mean {close[0]!r}? " if close and not found else ""
    problem = f"several parts are named {name!r}" if found else f"no part {name!r}"
    message = f"{score.source.name}: {problem}; {advice}parts are {listed}"
    if wanted is None:
        raise LessonError(f"{lesson.source}: key 'part': {message}")
    raise OptionError(message)


def _passages(score: Score, lesson: Lesson, timelines: Sequence[Timeline]) -> tuple[Passage, ...]:
    if lesson.passages:
        measures = max((one.measures for one in score.parts), key=len)
        return lesson_passages(lesson, measures)
    return passages_by_rule(score.parts, timelines)


def _draft(line: Timeline, lesson: Lesson, instrument: Instrument, decisions: Decisions) -> _Draft:
    reading = PartReading(
        line,
        bow_slurs(line),
        accidentals(line, key=lesson.key, key_signs=lesson.key_signs),
        open_string_notes(line, instrument),
    )
    by_rule = rule_notes(line, reading.slurs, lesson.rule)
    skeleton = skeleton_notes(
        line,
        by_rule,
        reading.open_strings,
        added=decisions.added,
        removed=decisions.removed,
    )
    choices = choose_anchors(line, reading.accidentals, skeleton, reading.slurs.of_attack)
    choices |= {
        note: Choice(anchor)
        for note, anchor in decisions.anchors.items()
        if note in reading.accidentals
    }
    places = {attack: note.place for attack, note in skeleton.items()}
    places |= line.places(attack for attack in reading.accidentals if attack not in skeleton)

    def anchor(other: int | None, note: int) -> Anchor | None:
        if other is None:
            return None
        return Anchor(places[other], line.interval(other, note))

    found = tuple(
        AccidentalNote(
            places[note],
            altered.printed,
            note in skeleton,
            note in reading.open_strings,
            anchor(choices[note].anchor, note),
            anchor(choices[note].runner_up, note),
            altered.from_key,
        )
        for note, altered in reading.accidentals.items()
    )
    return _Draft(reading, by_rule, decisions, skeleton, found)
