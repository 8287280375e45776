"""Where every note of a part is to sound, also those that are neither skeleton nor accidental."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from skeleton.analysis.results import Analysis, Anchor, PartAnalysis, Passage, Place
from skeleton.analysis.timeline import timeline
from skeleton.intonation.bands import Band
from skeleton.intonation.reference import (
    Reference,
    above_equal_cents,
    hull_of_systems,
    system_place,
)
from skeleton.intonation.targets import targets
from skeleton.score.model import Part
from skeleton.theory.interval import Interval, transpose
from skeleton.theory.pitch import Pitch
from skeleton.theory.tuning import System


@dataclass(frozen=True, slots=True)
class NoteTarget:
    """Where one note is to sound.

    Attributes:
        place: the note.
        sounding: its sounding pitch.
        role: ``fixed`` by an open string, ``accidental``, ``skeleton``, or any ``other`` note.
        hz: the target.
        string: the open string that fixes it.
        low_cents: how far under the target its band reaches (0 or less; 0 for fixed notes).
        high_cents: how far over it (0 or more).
        anchor: what an accidental is tuned from, or None.
        lean_cents: for accidentals that lean on their anchor by a half step: its size.
        lean_low_cents: smallest size of that step in its band.
        lean_high_cents: largest size.
        match: label of the match group.
    """

    place: Place
    sounding: Pitch
    role: Literal["fixed", "skeleton", "accidental", "other"]
    hz: float
    string: Pitch | None
    low_cents: float
    high_cents: float
    anchor: Anchor | None
    lean_cents: float | None
    lean_low_cents: float
    lean_high_cents: float
    match: str | None


def note_targets(
    analysis: Analysis,
    part: PartAnalysis,
    *,
    system: System = "pythagorean",
    strings_hz: tuple[float, ...] | None = None,
) -> dict[str, NoteTarget]:
    """Return the target of each note that a part's player begins, by id.

    Args:
        analysis: the etude.
        part: which part of it.
        system: what places the notes that no string and no lean places.
        strings_hz: the strings as tuned, low to high; by default pure from the analysis's A4.

    Raises:
        OptionError: the strings cannot be those of the instrument.
    """
    score_part = analysis.score.part(part.part)
    last = len(score_part.measures) - 1
    whole = Passage("all", 0, last, "", "")
    made = targets(
        replace(analysis, parts=(part,), passages=(whole,)), system=system, strings_hz=strings_hz
    ).passages[0]
    found: dict[str, NoteTarget] = {}
    for target in made.targets:
        low, high = _reach(target.band, target.equal_cents)
        lean = target.lean
        for place in target.places:
            found[place.id] = NoteTarget(
                place, target.sounding, target.role, target.hz, target.string, low, high,
                target.anchor, None if lean is None else lean.cents,
                target.band.low.cents if lean is not None and target.band is not None else 0.0,
                target.band.high.cents if lean is not None and target.band is not None else 0.0,
                target.match,
            )  # fmt: skip
    _separate_anchors(part, found)
    for place, sounding in _attacks(score_part):
        if place.id not in found and not sounding.is_microtone:
            found[place.id] = _other(made.reference, place, sounding)
    return found


def _separate_anchors(part: PartAnalysis, found: dict[str, NoteTarget]) -> None:
    """Give each accidental its own anchor: equal targets share the first one's."""
    for note in part.accidentals:
        if note.place.id in found:
            found[note.place.id] = replace(found[note.place.id], anchor=note.anchor)


def _reach(band: Band | None, equal_cents: float) -> tuple[float, float]:
    if band is None or band.measured_from == "anchor":
        return 0.0, 0.0
    return min(0.0, band.low.cents - equal_cents), max(0.0, band.high.cents - equal_cents)


def _other(reference: Reference, place: Place, sounding: Pitch) -> NoteTarget:
    hz = system_place(reference, sounding).hz
    equal_cents = above_equal_cents(reference, sounding, hz)
    low, high = _reach(hull_of_systems(reference, sounding), equal_cents)
    return NoteTarget(place, sounding, "other", hz, None, low, high, None, None, 0.0, 0.0, None)


def _attacks(part: Part) -> Iterator[tuple[Place, Pitch]]:
    line = timeline(part)
    for attack, place in line.places(range(len(line.attacks))).items():
        shift = part.transposition_at(place.onset_quarters, line.attacks[attack].staff)
        yield place, transpose(place.pitch, Interval(shift.diatonic, shift.chromatic))
