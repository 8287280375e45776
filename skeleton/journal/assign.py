"""What to work on next week: a proposal from the record, or from the page where there is none.

A teacher edits it; so every choice carries its reason. From the record, a passage weighs what its
notes and their match groups were found to be, each once; the heaviest are proposed. Without a
finding, the hardest are (:mod:`skeleton.journal.difficulty`).

Stages and tempos are this program's rule: where skeleton notes are what is off, the skeleton alone
(bare); where accidentals are, the skeleton with its neighbours; where it only has to be kept up,
everything. The tempo is the lesson's for that passage, without one :data:`TEMPO` (common practice,
no source); slower by a quarter where something comes back, and never raised.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from skeleton.analysis.lesson import Lesson
from skeleton.analysis.lesson_values import SLOWEST_TEMPO, StageName
from skeleton.analysis.results import Analysis, MatchGroup, Passage
from skeleton.journal.difficulty import Difficulty, difficulty
from skeleton.journal.habits import Condition, Finding
from skeleton.journal.progress import GroupFinding, NoteFinding, Progress

TEMPO: Final = 60.0
"""Beats a minute where nobody said another."""

MOST_PASSAGES: Final = 3
"""Passages for one week."""

_WEIGHTS: Final[Mapping[Condition, int]] = {
    "getting worse": 4,
    "habit": 3,
    "perhaps": 1,
    "unsteady": 1,
    "getting better": 1,
}
"""What a note weighs; a choice of this program."""

_SLOWER: Final = 0.75


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a passage is proposed: a group or notes of which something was found, or the page.

    Exactly one of the three is set; ``notes`` are of one pitch and one condition.
    """

    group: GroupFinding | None = None
    notes: tuple[NoteFinding, ...] = ()
    difficulty: Difficulty | None = None


@dataclass(frozen=True, slots=True)
class ProposedPassage:
    """A passage, how to play it, which groups to match in it, and why."""

    passage: Passage
    stage: StageName
    tempo: float
    given_tempo: float | None
    match: tuple[MatchGroup, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Assignment:
    """A week's proposal, most urgent first. ``student`` is None where there is no record."""

    student: str | None
    takes: int
    source: Literal["record", "difficulty"]
    passages: tuple[ProposedPassage, ...]


def assignment(analysis: Analysis, lesson: Lesson, record: Progress | None) -> Assignment:
    """Return what is proposed.

    Args:
        analysis: the etude.
        lesson: the lesson it was analysed with, whose tempos count.
        record: of the student, or None.
    """
    tempos = {one.name: one.tempo for one in lesson.passages}
    student, takes = (None, 0) if record is None else (record.student, record.takes)
    if record is not None:
        weighed = [(_weigh(analysis, record, passage), passage) for passage in analysis.passages]
        chosen = [one for one in weighed if one[0][0] > 0]
        chosen.sort(key=lambda one: -one[0][0])
        proposed = tuple(
            _from_record(passage, stage, reasons, tempos.get(passage.name))
            for (_, stage, reasons), passage in chosen[:MOST_PASSAGES]
        )
        if proposed:
            return Assignment(student, takes, "record", proposed)
    hardest = sorted(difficulty(analysis), key=lambda one: -one.weight)
    return Assignment(
        student,
        takes,
        "difficulty",
        tuple(
            _by_difficulty(analysis, one, tempos.get(one.passage.name))
            for one in hardest[:MOST_PASSAGES]
        ),
    )


def _weigh(
    analysis: Analysis, record: Progress, passage: Passage
) -> tuple[float, StageName, tuple[Reason, ...]]:
    """Return what a passage weighs, the stage that suits it, and why."""
    groups = {(one.group.part, one.group.label): one for one in record.groups}
    accidentals = {one.place.id for part in analysis.parts for one in part.accidentals}
    weights: dict[bool, int] = {False: 0, True: 0}
    firm = 0
    found: dict[tuple[str, str], Reason] = {}
    for note in record.notes:
        if not passage.holds(note.place.measure_index):
            continue
        group = groups.get((note.place.part, note.match or ""))
        of_group = 0 if group is None else _weight(group.finding)
        of_note = _weight(note.finding)
        weight = max(of_group, of_note)
        weights[note.place.id in accidentals] += weight
        firm += weight >= _WEIGHTS["habit"]
        if group is not None and of_group and of_group >= of_note:
            found[group.group.part, group.group.label] = Reason(group=group)
        elif of_note:
            key = (str(note.place.pitch), note.finding.condition)
            before = found.get(key, Reason()).notes
            found[key] = Reason(notes=(*before, note))
    stage: StageName = "neighbours" if weights[True] >= weights[False] else "bare"
    reasons = sorted(found.values(), key=lambda one: -_weight_of(one))
    return sum(weights.values()), stage if firm else "all", tuple(reasons)


def _weight(finding: Finding) -> int:
    return _WEIGHTS.get(finding.condition, 0)


def _weight_of(reason: Reason) -> int:
    if reason.group is not None:
        return _weight(reason.group.finding)
    return _weight(reason.notes[0].finding)


def _from_record(
    passage: Passage, stage: StageName, reasons: Sequence[Reason], tempo: float | None
) -> ProposedPassage:
    groups = tuple(one.group.group for one in reasons if one.group is not None)
    return ProposedPassage(
        passage,
        stage,
        _tempo(tempo, slower=stage != "all"),
        tempo,
        groups,
        tuple(reasons),
    )


def _by_difficulty(analysis: Analysis, hard: Difficulty, tempo: float | None) -> ProposedPassage:
    held = {
        note.id
        for part in analysis.score.parts
        for note in part.notes
        if hard.passage.holds(note.measure)
    }
    counts = [
        (sum(note in held for note in group.notes), group)
        for part in analysis.parts
        for group in part.matches
    ]
    # Octaves first: they are the harder match.
    counts.sort(key=lambda one: (not one[1].across_octaves, -one[0]))
    match = tuple(group for count, group in counts if count > 1)
    return ProposedPassage(
        hard.passage,
        "bare",
        _tempo(tempo, slower=False),
        tempo,
        match,
        (Reason(difficulty=hard),),
    )


def _tempo(given: float | None, *, slower: bool) -> float:
    usual = TEMPO if given is None else given
    return max(SLOWEST_TEMPO, float(round(usual * _SLOWER))) if slower else usual
