"""Where every note of a part sounds: each on what it hangs on, down to a string or the system.

The rule, for each note by itself:

1. A note named like an open string sounds with its string. It never leans.
2. An accidental a half step from its anchor leans on **where the anchor itself sounds**, by the
   size of the step: the one the lesson or the player chose, else the system's. An anchor may be
   an accidental; then it is placed first, and so on down the chain.
3. Anything else stands where the system has it: skeleton notes, accidentals further than a half
   step from their anchor (or without one), and in just intonation every accidental whose lean
   was not chosen, for there notes hang on the drone.

Two structural accidentals may name each other as anchors. Such a circle has no first note; the
one that comes first in the score is placed by rule 3, and the others hang on it. Where the sizes
agree the circle closes, and the first one leans like the rest; else it is told.

So all returns of a note with one lean stand equally far from their anchors, in every octave.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from skeleton.analysis.results import AccidentalNote, ChosenLean
from skeleton.intonation.bands import ROUNDING_CENTS
from skeleton.intonation.reference import Reference, SystemPlace, system_place
from skeleton.theory.interval import Interval
from skeleton.theory.pitch import Pitch, PitchClass
from skeleton.theory.tuning import System, cents, equal_cents, pythagorean_cents, pythagorean_ratio


@dataclass(frozen=True, slots=True)
class Lean:
    """How far a half step leans on its anchor: its size in cents, above 0.

    ``interval`` points from the anchor to the note. ``ratio`` is the exact size in that
    direction where there is one; ``chosen`` says whether somebody chose the size.
    """

    interval: Interval
    cents: float
    ratio: Fraction | None = None
    chosen: bool = False

    def hz(self, anchor_hz: float) -> float:
        """Return the frequency in Hz of the note that leans on this one."""
        if self.ratio is not None:
            return anchor_hz * self.ratio.numerator / self.ratio.denominator
        return anchor_hz * math.pow(2.0, self.interval.sign * self.cents / 1200.0)


@dataclass(frozen=True, slots=True)
class LeanChoices:
    """The leans that were chosen: for names by the lesson, for half steps of a kind by the player.

    What the lesson says of a note with its anchor comes before what it says of the note, and
    that before the player's choice for all half steps (``diatonic_cents``: F sharp to G;
    ``chromatic_cents``: F to F sharp). None: the system's size.
    """

    by_name: Sequence[ChosenLean] = ()
    diatonic_cents: float | None = None
    chromatic_cents: float | None = None

    def cents(self, name: PitchClass, anchor: PitchClass, interval: Interval) -> float | None:
        """Return the chosen size of a half step, or None where nobody chose one."""
        fitting = [
            one for one in self.by_name if one.pitch_class == name and one.anchor in (None, anchor)
        ]
        if fitting:
            return max(fitting, key=lambda one: one.anchor is not None).cents
        return self.diatonic_cents if interval.steps else self.chromatic_cents


@dataclass(frozen=True, slots=True)
class Sound:
    """Where one note sounds, in Hz, and how that was found: by its string, a lean, or a system."""

    hz: float
    lean: Lean | None = None
    system: System | None = None


def lean_of(accidental: AccidentalNote, reference: Reference, choices: LeanChoices) -> Lean | None:
    """Return by how much an accidental leans on its anchor; None where it does not lean.

    Notes named like an open string are not asked about here; they never lean.
    """
    anchor = accidental.anchor
    if anchor is None or not anchor.interval.is_half_step:
        return None
    name, anchor_name = accidental.place.pitch.pitch_class, anchor.place.pitch.pitch_class
    interval = anchor.interval
    chosen = choices.cents(name, anchor_name, interval)
    if chosen is not None:
        return Lean(interval, chosen, chosen=True)
    if reference.system == "just":
        return None
    if reference.system == "equal":
        return Lean(interval, abs(equal_cents(interval)))
    return Lean(interval, abs(pythagorean_cents(interval)), pythagorean_ratio(interval))


def sounds(
    notes: Iterable[str],
    accidentals: Mapping[str, AccidentalNote],
    *,
    fixed_hz: Mapping[str, float],
    sounding: Callable[[str], Pitch],
    reference: Reference,
    choices: LeanChoices,
) -> tuple[dict[str, Sound], tuple[str, ...]]:
    """Return where each note sounds, and the notes whose lean a circle could not keep.

    Args:
        notes: the ids of all skeleton notes and accidentals of a part, in score order.
        accidentals: its accidentals by id; every anchor is among ``notes``.
        fixed_hz: for the notes named like an open string, by id, what they must sound.
        sounding: gives the sounding pitch of a note by id.
        reference: the strings and the system.
        choices: the leans that were chosen.
    """
    order = {note: place for place, note in enumerate(notes)}
    systems: dict[Pitch, SystemPlace] = {}
    known_leans: dict[tuple[Pitch, Pitch], Lean | None] = {}
    found: dict[str, Sound] = {note: Sound(hz) for note, hz in fixed_hz.items()}
    circles: list[str] = []

    def by_system(note: str) -> Sound:
        pitch = sounding(note)
        if pitch not in systems:
            systems[pitch] = system_place(reference, pitch)
        return Sound(systems[pitch].hz, system=systems[pitch].system)

    def lean(note: str) -> Lean | None:
        accidental = accidentals.get(note)
        if accidental is None or accidental.anchor is None:
            return None
        key = (accidental.place.pitch, accidental.anchor.place.pitch)
        if key not in known_leans:
            known_leans[key] = lean_of(accidental, reference, choices)
        return known_leans[key]

    for start in order:
        chain: list[tuple[str, Lean]] = []
        on_chain: dict[str, int] = {}
        note = start
        while note not in found:
            step = lean(note)
            if step is None:
                found[note] = by_system(note)
            elif note in on_chain:
                first = min((one for one, _ in chain[on_chain[note] :]), key=order.__getitem__)
                found[first] = by_system(first)
                circles.append(first)
                break
            else:
                on_chain[note] = len(chain)
                chain.append((note, step))
                anchor = accidentals[note].anchor
                note = anchor.place.id if anchor else note
        _unwind(chain, accidentals, found)
    left_out = []
    for note in circles:
        anchor, step = accidentals[note].anchor, lean(note)
        if anchor is None or step is None:
            continue
        # Where the circle closes, the note stands as far from its anchor as its lean asks.
        if abs(cents(found[note].hz / step.hz(found[anchor.place.id].hz))) <= ROUNDING_CENTS:
            found[note] = Sound(found[note].hz, lean=step)
        else:
            left_out.append(note)
    return found, tuple(left_out)


def _unwind(
    chain: list[tuple[str, Lean]],
    accidentals: Mapping[str, AccidentalNote],
    found: dict[str, Sound],
) -> None:
    """Place the notes of a chain, from the one that is known back to where it began."""
    waiting = list(chain)
    while waiting:
        left = []
        for note, step in reversed(waiting):
            anchor = accidentals[note].anchor
            if note in found or anchor is None:
                continue
            if anchor.place.id in found:
                found[note] = Sound(step.hz(found[anchor.place.id].hz), lean=step)
            else:
                left.append((note, step))
        waiting = left[::-1]
