"""What a teacher should be told about the analysis of a part."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from skeleton.analysis.accidentals import lost_key
from skeleton.analysis.decisions import Decisions
from skeleton.analysis.fit import PartReading
from skeleton.analysis.keys import major_name
from skeleton.analysis.lesson import Lesson
from skeleton.analysis.results import AccidentalNote, RuleFit
from skeleton.score.model import Notice


def part_notices(
    reading: PartReading,
    accidentals: Sequence[AccidentalNote],
    by_rule: Mapping[int, int],
    decisions: Decisions,
    *,
    lesson: Lesson,
    fit: Sequence[RuleFit],
) -> list[Notice]:
    """Return the notices of one part.

    Args:
        reading: the part.
        accidentals: its accidentals with their anchors.
        by_rule: the notes that the lesson's rule took.
        decisions: the lesson's decisions about single notes.
        lesson: the lesson.
        fit: how well each rule fits, for advice.
    """
    found = [
        _lost_key(reading) if lesson.key is None else None,
        _rule_takes_nothing(reading, lesson, fit) if not by_rule else None,
        *_no_effect(reading, decisions, lesson),
        _no_anchor(reading, accidentals),
    ]
    return [notice for notice in found if notice is not None]


def _lost_key(reading: PartReading) -> Notice | None:
    part = reading.timeline.part
    lost = lost_key(reading.timeline)
    if lost is None:
        return None
    letters = " and ".join(letter for letter, _ in lost.alters[:2])
    sign = "sharp" if lost.alters[0][1] > 0 else "flat"
    return Notice(
        "key-signature-lost",
        f"part {part.name or part.id} has no key signature, yet nearly every {letters} is {sign}; "
        f'if the file lost its signature, read it with --key "{major_name(lost)}"',
        part.id,
    )


def _rule_takes_nothing(
    reading: PartReading, lesson: Lesson, fit: Sequence[RuleFit]
) -> Notice | None:
    if not reading.timeline.attacks:
        return None
    part = reading.timeline.part
    name = part.name or part.id
    best = max(fit, key=lambda one: (one.notes > 0, one.half_step_share))
    advice = "the skeleton is its open-string notes"
    if best.half_step_share > 0 and best.notes and best.rule != lesson.rule:
        advice += (
            f"; rule {best.rule!r} fits best here: {best.half_step_share:.0%} of the accidentals "
            "then stand a half step from their anchor"
        )
    if reading.slurs.slurs or lesson.rule == "on-beat":
        text = f"rule {lesson.rule!r} takes no note of part {name}; {advice}"
        return Notice("rule-takes-nothing", text, part.id)
    return Notice(
        "no-slurs", f"part {name} has no slurs for rule {lesson.rule!r}; {advice}", part.id
    )


def _no_effect(reading: PartReading, decisions: Decisions, lesson: Lesson) -> list[Notice]:
    part = reading.timeline.part
    notices = []
    for attack in decisions.anchors:
        if attack not in reading.accidentals:
            note = reading.timeline.attacks[attack]
            notices.append(
                Notice(
                    "lesson-no-effect",
                    f"{lesson.source}: {note.pitch} (note {note.id}) is no accidental, so it hangs "
                    "on nothing; leave its anchor out",
                    part.id,
                    part.measures[note.measure].number,
                )
            )
    return notices


def _no_anchor(reading: PartReading, accidentals: Sequence[AccidentalNote]) -> Notice | None:
    part = reading.timeline.part
    without = [note for note in accidentals if note.anchor is None]
    if not without:
        return None
    first = without[0].place
    count = f"{len(without)} accidental{'s have' if len(without) > 1 else ' has'} no anchor"
    return Notice(
        "no-anchor",
        f"part {part.name or part.id}: {count}, the first in measure {first.measure} "
        f"({first.pitch}), for the part has no other skeleton note; try another rule, or add a "
        "note in a lesson file",
        part.id,
        first.measure,
    )
