"""Which notes of an etude should ring, so that the player can listen for it."""

from __future__ import annotations

from dataclasses import dataclass

from skeleton.intonation.results import EtudeTargets
from skeleton.intonation.ring import Answer, answers, rings
from skeleton.theory.pitch import Pitch


@dataclass(frozen=True, slots=True)
class RingingNote:
    """A note that should ring when it is at its target, and the strings that answer it.

    ``times`` is how often the note is played, ``passages`` where.
    """

    part: str
    pitch: Pitch
    hz: float
    answers: tuple[Answer, ...]
    times: int
    passages: tuple[str, ...]


def listen_for(found: EtudeTargets) -> tuple[RingingNote, ...]:
    """Return the notes that should ring, part after part, each part's from low to high.

    Taken to be stopped on their usual strings; see :mod:`skeleton.intonation.ring` for what is
    not known. A note in two passages that overlap is counted once.
    """
    held: dict[tuple[str, Pitch, float], tuple[tuple[Answer, ...], set[str], dict[str, None]]] = {}
    for passage in found.passages:
        for target in passage.targets:
            key = (passage.part, target.pitch, target.hz)
            if key not in held:
                answering = answers(passage.reference.tuning, target.sounding, target.hz)
                held[key] = (answering, set(), {})
            _, notes, names = held[key]
            notes.update(place.id for place in target.places)
            names[passage.passage.name] = None
    order = {part: place for place, part in enumerate(one.part for one in found.analysis.parts)}
    return tuple(
        RingingNote(part, pitch, hz, answering, len(notes), tuple(names))
        for (part, pitch, hz), (answering, notes, names) in sorted(
            held.items(), key=lambda item: (order[item[0][0]], item[0][2])
        )
        if rings(answering)
    )
