"""Notes gathered by measure, so that each passage finds its own without a search through all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

from skeleton.analysis.results import AccidentalNote, PartAnalysis, Passage, SkeletonNote

N = TypeVar("N", SkeletonNote, AccidentalNote)


def by_measure(notes: Iterable[N]) -> dict[int, list[N]]:
    """Return notes by the ordinal of their measure, each list in the order given."""
    found: dict[int, list[N]] = {}
    for note in notes:
        found.setdefault(note.place.measure_index, []).append(note)
    return found


def in_passage(held: Mapping[int, list[N]], passage: Passage) -> list[N]:
    """Return the notes of a passage, of those gathered by :func:`by_measure`."""
    measures = range(passage.first_index, passage.last_index + 1)
    return [note for measure in measures for note in held.get(measure, ())]


def group_labels(part: PartAnalysis) -> dict[str, str]:
    """Return the match group's letter for every note id that is in one."""
    return {note: group.label for group in part.matches for note in group.notes}
