"""All students and etudes of a journal: who needs what this week.

No score is at hand here. So notes are taken together by name, in every octave (``F#``), as a match
group does; the names of one student's etude, and the ear, are what is corrected together. What a
name is tuned from, and where it stands, ``skeleton progress`` tells with the score.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Final

from skeleton.journal.database import Journal
from skeleton.journal.ear import Ear, asked_of, ear, judged
from skeleton.journal.habits import Condition, Finding, findings
from skeleton.journal.progress import joined
from skeleton.journal.records import Holding

RETURNS: Final[tuple[Condition, ...]] = ("getting worse", "habit")
DOUBTFUL: Final[tuple[Condition, ...]] = ("perhaps", "unsteady")
BETTER: Final[tuple[Condition, ...]] = ("getting better", "healed")

_URGENCY: Final[dict[Condition, int]] = {
    "getting worse": 4,
    "habit": 3,
    "perhaps": 1,
    "unsteady": 1,
}
"""What a name weighs; as passages are weighed in :mod:`skeleton.journal.assign`."""


@dataclass(frozen=True, slots=True)
class EtudeRecord:
    """One student's etude: what is held, what is found of each note name, and the ear."""

    holding: Holding
    names: tuple[Finding, ...]
    ear: Ear

    @property
    def urgency(self) -> int:
        """How much it asks for: 0 is nothing."""
        return sum(_URGENCY.get(one.condition, 0) for one in self.names)


@dataclass(frozen=True, slots=True)
class StudentRecord:
    """One student with all etudes, the most urgent first."""

    student: str
    etudes: tuple[EtudeRecord, ...]

    @property
    def urgency(self) -> int:
        """How much it asks for, all etudes together."""
        return sum(one.urgency for one in self.etudes)

    @property
    def last_day(self) -> str:
        """Day of the last take, ISO 8601."""
        return max(one.holding.last_day for one in self.etudes)


def studio(journal: Journal) -> tuple[StudentRecord, ...]:
    """Return all students of a journal, the most urgent first.

    Raises:
        JournalError: the journal cannot be read.
    """
    held = sorted(journal.holdings(), key=lambda one: one.student.casefold())
    students = [
        StudentRecord(
            name, tuple(sorted((_etude(journal, one) for one in of), key=lambda one: -one.urgency))
        )
        for name, of in groupby(held, key=lambda one: one.student)
    ]
    return tuple(sorted(students, key=lambda one: -one.urgency))


def _etude(journal: Journal, holding: Holding) -> EtudeRecord:
    days = journal.days(holding.student, holding.content)
    names: dict[str, list[int]] = {}
    for place, one in enumerate(days):
        names.setdefault(_name(one.note), []).append(place)
    series = [
        joined("group", name, [days[place] for place in places])
        for name, places in sorted(names.items())
    ]
    listened = ear(journal.heard(holding.student, holding.content))
    found = findings([series], [asked_of(listened)])
    return EtudeRecord(holding, found.lists[0], judged(listened, found.others[0]))


def _name(key: str) -> str:
    """The note name in a key: ``F#`` of ``1:33/4:F#4:2``."""
    return key.split(":")[2].rstrip("-0123456789")
