"""Double stops with an open string by which a player can check a note.

For a note stopped on one string and the open string beside it: unison, third, fourth, fifth,
sixth or octave, pure in five-limit just intonation. A check says where the note is pure *against
that string*; that is not always where the note belongs in a melody. Pure thirds and sixths lie a
syntonic comma (81/80, 21.5 cents) from the chain of fifths in which the strings are tuned.

When the note is a few cents off, the partials that should coincide beat: for a note over string
ratio p/q the q-th partial of the note meets the p-th of the string, and at ``c`` cents off they
beat ``q * f * |2^(c/1200) - 1|`` times a second, f being the note's frequency.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from skeleton.intonation.reach import position
from skeleton.intonation.reference import CONSONANT
from skeleton.theory.interval import Interval, between
from skeleton.theory.pitch import Pitch
from skeleton.theory.strings import StringTuning
from skeleton.theory.tuning import cents, just_ratio

OFF_CENTS: Final = 5.0
"""How far off a note is for :attr:`Check.beats_hz`."""

AGREEING_CENTS: Final = 3.0
"""Checks closer than this agree (common practice, no source): strings as measured never agree to
the last cent, an equal fifth is 2 cents off a pure one, and musicians told notes apart from some
10 cents on (Arndt et al. 2020, link.springer.com s00221-019-05707-8, abstract)."""


@dataclass(frozen=True, slots=True)
class Check:
    """One double stop.

    Attributes:
        drone: the open string that sounds with the note.
        string: the neighbouring string on which the note is stopped.
        position: where the hand is, 1 to 5; 0 if the note is that open string.
        interval: from the drone to the note.
        ratio: the pure size, note over drone.
        hz: where the note is pure.
        off_target_cents: how far that lies above the note's target.
        beats_hz: beats per second when the note is 5 cents off.
    """

    drone: Pitch
    string: Pitch
    position: int
    interval: Interval
    ratio: Fraction
    hz: float
    off_target_cents: float
    beats_hz: float

    @property
    def agrees(self) -> bool:
        """Whether the check leaves the note at its target."""
        return abs(self.off_target_cents) <= AGREEING_CENTS


@dataclass(frozen=True, slots=True)
class NoteChecks:
    """The checks of one note, simplest ratio first.

    ``spread_cents`` is the distance between the lowest and the highest of them, 0 where they
    agree. ``advice`` is one sentence on which to choose when, None where nothing is to choose.
    """

    pitch: Pitch
    target_hz: float
    checks: tuple[Check, ...]
    spread_cents: float
    advice: str | None


def checks(tuning: StringTuning, pitch: Pitch, target_hz: float) -> NoteChecks:
    """Return the double stops by which a note can be checked.

    Args:
        tuning: the open strings as they are.
        pitch: the sounding pitch.
        target_hz: where it is to sound.
    """
    strings = tuning.instrument.open_strings
    found = []
    for index, string in enumerate(strings):
        place = position(tuning.instrument, string, pitch)
        if place is None or pitch.is_microtone:
            continue
        for neighbour in (index - 1, index + 1):
            if 0 <= neighbour < len(strings):
                drone = strings[neighbour]
                check = _check(tuning, pitch, target_hz, string=string, drone=drone, place=place)
                if check is not None:
                    found.append(check)
    found.sort(key=lambda one: (_height(one.ratio), one.position))
    values = [one.off_target_cents for one in found]
    spread = max(values) - min(values) if values else 0.0
    return NoteChecks(
        pitch,
        target_hz,
        tuple(found),
        spread if spread > AGREEING_CENTS else 0.0,
        _advice(found, spread),
    )


def beats_hz(note_hz: float, ratio: Fraction, off_cents: float) -> float:
    """Return how often a double stop beats in a second when its note is off.

    Args:
        note_hz: where the note is pure.
        ratio: the pure interval, note over string.
        off_cents: how far the note is off, up or down.
    """
    return ratio.denominator * note_hz * abs(math.pow(2.0, off_cents / 1200.0) - 1.0)


def _check(
    tuning: StringTuning,
    pitch: Pitch,
    target_hz: float,
    *,
    string: Pitch,
    drone: Pitch,
    place: int,
) -> Check | None:
    interval = between(drone, pitch)
    ratio = just_ratio(interval)
    if interval.name not in CONSONANT or ratio is None:
        return None
    drone_hz = tuning.hz[tuning.instrument.open_strings.index(drone)]
    hz = drone_hz * ratio.numerator / ratio.denominator
    return Check(
        drone,
        string,
        place,
        interval,
        ratio,
        hz,
        cents(hz / target_hz),
        beats_hz(hz, ratio, OFF_CENTS),
    )


def _height(ratio: Fraction) -> int:
    return ratio.numerator * ratio.denominator


def _advice(found: list[Check], spread: float) -> str | None:
    """Say which check to choose when; a melody keeps to the target, a held drone to itself."""
    agreeing = [one for one in found if one.agrees]
    apart = [one for one in found if not one.agrees]
    if not apart:
        return None
    if spread > AGREEING_CENTS and agreeing:
        return (
            f"The {_named(agreeing[0])} and the {_named(apart[0])} differ by {spread:.1f} cents: "
            f"in a melody take the first, it agrees with the target; take the other only while "
            f"open {apart[0].drone.pitch_class} sounds with it."
        )
    off = apart[0].off_target_cents
    return (
        f"Pure against open {apart[0].drone.pitch_class} is {abs(off):.1f} cents "
        f"{'above' if off > 0 else 'below'} the target: in a melody keep the target, and take "
        "the pure one only while that string sounds with it."
    )


def _named(check: Check) -> str:
    return f"{check.interval.words} {check.interval.direction} open {check.drone.pitch_class}"
