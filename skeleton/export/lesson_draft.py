"""A week's proposal as a lesson file for the teacher to edit: TOML, the reasons as comments.

The decisions of the lesson in force (rule, key, instrument, single notes, leans) are carried over,
so that the draft reads the etude in the same way.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Final

from skeleton.analysis.lesson import Lesson
from skeleton.analysis.results import Analysis, MatchGroup
from skeleton.export.lists.outline_text import title_of
from skeleton.export.lists.progress_text import cents_text, condition_text
from skeleton.export.lists.words import counted, listed, octaves_text, one_line
from skeleton.journal.assign import Assignment, ProposedPassage, Reason

_STAGES: Final = {
    "bare": "the skeleton alone",
    "neighbours": "the skeleton with its accidentals",
    "all": "everything as written",
}
_LONGEST_GOAL: Final = 200


def lesson_draft(analysis: Analysis, lesson: Lesson, proposed: Assignment) -> str:
    """Return the text of the lesson file, a newline at its end.

    Args:
        analysis: the etude.
        lesson: the lesson in force, whose decisions are carried over.
        proposed: the week.
    """
    return "\n".join(
        [
            *_comments(_head(proposed)),
            f"title = {_text(lesson.title or title_of(analysis))}",
            *_paragraphs("assignment", _assignment(proposed)),
            *_decisions(lesson),
            *(line for one in proposed.passages for line in _passage(one)),
            *_notes(lesson),
            "",
        ]
    )


def reason_text(reason: Reason) -> str:
    """Return a reason on one line: ``K: F# in octaves 4 and 5: flat again and again, ...``."""
    if reason.difficulty is not None:
        hard = reason.difficulty
        return (
            f"by the page: {hard.altered_share:.0%} of {counted(hard.notes, 'note')} altered, "
            f"{hard.leap_share:.0%} of the steps leaps, the largest "
            f"{counted(hard.largest_semitones, 'half step')}, "
            f"{counted(hard.returns, 'group')} to match, {hard.high_share:.0%} above first position"
        )
    if reason.group is not None:
        found = reason.group.finding
        what = _match(reason.group.group)
    else:
        found = reason.notes[0].finding
        measures = list(dict.fromkeys(one_line(note.place.measure) for note in reason.notes))
        where = f"measure{'s' if len(measures) > 1 else ''} {listed(measures)}"
        what = f"{reason.notes[0].place.pitch} in {where}"
    said = condition_text(found)
    return f"{what}: {said}, {cents_text(found.median_cents)} over {counted(found.days, 'day')}"


def _head(proposed: Assignment) -> Iterator[str]:
    yield "A draft for the coming week. Change what you know better."
    if proposed.source == "record":
        who = one_line(proposed.student or "")
        yield f"From the record of {who}: {counted(proposed.takes, 'take')}."
    elif proposed.student is not None:
        who = one_line(proposed.student)
        yield f"The record of {who} ({counted(proposed.takes, 'take')}) asks for nothing yet,"
        yield "so the hardest passages by the page stand here."
    else:
        yield "Without a record: the hardest passages by the page."


def _assignment(proposed: Assignment) -> list[str]:
    lines = [
        f"{one_line(one.passage.name)}: {_STAGES[one.stage]}, {one.tempo:g} beats a minute."
        for one in proposed.passages
    ]
    names = dict.fromkeys(_match(group) for one in proposed.passages for group in one.match)
    if names:
        lines.append(f"Match {listed(list(names)[:4])}.")
    lines.append("Sing or hear each skeleton note against its open string before you play on.")
    return lines


def _passage(one: ProposedPassage) -> Iterator[str]:
    first, last = one.passage.first_measure, one.passage.last_measure
    yield ""
    yield from _comments(reason_text(reason) for reason in one.reasons)
    yield "[[passage]]"
    yield f"name = {_text(one.passage.name)}"
    yield f"measures = {_text(first if first == last else f'{first}-{last}')}"
    if one.given_tempo is None:
        yield f"tempo = {one.tempo:g}  # nobody gave one"
    elif one.tempo < one.given_tempo:
        yield f"tempo = {one.tempo:g}  # slower than {one.given_tempo:g}, while it comes back"
    else:
        yield f"tempo = {one.tempo:g}"
    yield f'stage = "{one.stage}"  # {_STAGES[one.stage]}'
    goal = _goal(one.match)
    if goal:
        yield f"goal = {_text(goal)}"


def _goal(groups: Sequence[MatchGroup]) -> str:
    """Return which groups to match, as many as there is room for."""
    for count in range(min(3, len(groups)), 0, -1):
        goal = f"match {listed(_match(group) for group in groups[:count])}"
        if len(goal) <= _LONGEST_GOAL:
            return goal
    return ""


def _match(group: MatchGroup) -> str:
    return f"{group.label}: {group.pitch_class} in {octaves_text(group.octaves)}"


def _decisions(lesson: Lesson) -> Iterator[str]:
    if lesson.instrument is not None:
        yield f"instrument = {_text(lesson.instrument.name)}"
    if lesson.open_strings is not None:
        yield f"open_strings = {json.dumps([str(one) for one in lesson.open_strings])}"
    yield f"a4_hz = {lesson.a4_hz!r}"
    yield f'rule = "{lesson.rule}"'
    if lesson.key is not None and lesson.key.fifths is not None:
        yield f"key = {lesson.key.fifths}"
    if lesson.key_signs:
        yield "key_signs = true"
    if lesson.keep_open_strings:
        yield "keep_open_strings = true"
    if lesson.part is not None:
        yield f"part = {_text(lesson.part)}"


def _notes(lesson: Lesson) -> Iterator[str]:
    for note in lesson.notes:
        yield from ("", "[[note]]")
        if note.id is not None:
            yield f"id = {_text(note.id)}"
        if note.measure is not None:
            yield f"measure = {_text(note.measure)}"
        if note.beat is not None:
            yield f'beat = "{note.beat}"'
        if note.pitch is not None:
            yield f'pitch = "{note.pitch}"'
        if note.skeleton is not None:
            yield f"skeleton = {str(note.skeleton).lower()}"
        if note.anchor is not None:
            yield f"anchor = {_text(note.anchor)}"
    for lean in lesson.leans:
        yield from (
            "",
            "[[lean]]",
            f'pitch = "{lean.pitch_class}"',
            f"cents = {lean.cents!r}",
        )
        if lean.anchor is not None:
            yield f'anchor = "{lean.anchor}"'


def _comments(lines: Iterator[str] | Sequence[str]) -> Iterator[str]:
    for line in lines:
        yield f"# {one_line(line)}"


def _paragraphs(key: str, lines: Sequence[str]) -> Iterator[str]:
    """Yield a text of several lines as it is comfortable to edit."""
    yield f'{key} = """'
    # Escaped as in a basic string, so that no line can end the text.
    yield from (_text(line)[1:-1] for line in lines)
    yield '"""'


def _text(text: str) -> str:
    # A basic string of TOML takes the escapes of JSON; only DEL is one more that it needs.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
