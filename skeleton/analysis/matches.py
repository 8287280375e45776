"""Match groups: all returns of one accidental, in any octave, that must lean alike.

Groups are made by spelled pitch class within a part. A note that returns in another octave is
harder to hear and comes first; groups of one octave follow; each kind in order of appearance.
A note that never returns makes no group, and a courtesy sign makes no accidental, so neither is
listed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Final

from skeleton.analysis.results import AccidentalNote, Lean, MatchGroup, Passage, Twins
from skeleton.theory.interval import Interval
from skeleton.theory.pitch import PitchClass

LETTERS: Final = "KLMNPQRSTUVWXYZ"
"""Labels that are no note names (A to H) and no numbers (I, O) or easily taken for one (J)."""


def label(place: int) -> str:
    """Return the label of the group at a place counted from 0: K to Z, then K2 and so on."""
    rounds, letter = divmod(place, len(LETTERS))
    return LETTERS[letter] + (str(rounds + 1) if rounds else "")


def match_groups(part: str, accidentals: Iterable[AccidentalNote]) -> tuple[MatchGroup, ...]:
    """Return the groups of a part's accidentals (in score order), labelled.

    Args:
        part: the part's id.
        accidentals: its accidentals in score order.
    """
    by_class: dict[tuple[str, int | Fraction], list[AccidentalNote]] = {}
    for note in accidentals:
        pitch = note.place.pitch
        by_class.setdefault((pitch.step, pitch.alter), []).append(note)
    groups = [
        (members, tuple(sorted({note.place.pitch.octave for note in members})))
        for members in by_class.values()
        if len(members) > 1
    ]
    groups.sort(key=lambda group: len(group[1]) == 1)
    return tuple(
        MatchGroup(
            label(place),
            part,
            members[0].place.pitch.pitch_class,
            octaves,
            tuple(note.place.id for note in members),
            _leans(members),
        )
        for place, (members, octaves) in enumerate(groups)
    )


def _leans(members: Iterable[AccidentalNote]) -> tuple[Lean, ...]:
    found: dict[tuple[str, int | Fraction, Interval], tuple[PitchClass, list[str]]] = {}
    for note in members:
        if note.anchor is not None:
            pitch, interval = note.anchor.place.pitch, note.anchor.interval
            key = (pitch.step, pitch.alter, interval)
            if key not in found:
                found[key] = (pitch.pitch_class, [])
            found[key][1].append(note.place.id)
    return tuple(
        Lean(pitch_class, interval, tuple(ids))
        for (_, _, interval), (pitch_class, ids) in found.items()
    )


def enharmonic_twins(
    part: str, accidentals: Sequence[AccidentalNote], passages: Iterable[Passage]
) -> tuple[Twins, ...]:
    """Return the pairs of accidentals that share a key of the piano within one passage.

    Both names must be accidentals: F sharp and G flat are twins, E sharp and a plain F are not.
    The name that appears first stands first.
    """
    by_measure: dict[int, dict[tuple[str, int | Fraction], PitchClass]] = {}
    for note in accidentals:
        pitch = note.place.pitch
        names = by_measure.setdefault(note.place.measure_index, {})
        if (pitch.step, pitch.alter) not in names:
            names[pitch.step, pitch.alter] = pitch.pitch_class
    found: list[Twins] = []
    for passage in passages:
        here: dict[tuple[str, int | Fraction], PitchClass] = {}
        for measure in range(passage.first_index, passage.last_index + 1):
            for name, pitch_class in by_measure.get(measure, {}).items():
                here.setdefault(name, pitch_class)
        ordered = list(here.values())
        found.extend(
            Twins(part, passage.name, first, second)
            for place, first in enumerate(ordered)
            for second in ordered[place + 1 :]
            if first.chroma == second.chroma
        )
    return tuple(found)
