"""What a pitch is measured by: the strings as tuned, a system, and in just intonation a drone.

* A note named like an open string follows its string by whole octaves, whatever the system.
* Every other note has a place in each system: *Pythagorean*, the chain of fifths from the A that
  the strings give (:attr:`~skeleton.theory.strings.StringTuning.a4_hz`: the A string, also where
  the strings were measured and do not quite agree); *equal*, from the same A; *just*, the pure
  interval from one open string as it is tuned.
* Just intonation has no size for some spelled intervals; there the chain of fifths stands in.

Pitches here are sounding ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from skeleton.errors import OptionError
from skeleton.intonation.bands import Band, Edge, hull
from skeleton.theory.instrument import Instrument
from skeleton.theory.interval import Interval, between
from skeleton.theory.pitch import Pitch, PitchClass, parse_pitch, parse_pitch_class
from skeleton.theory.strings import StringTuning
from skeleton.theory.tuning import System, equal_factor, just_ratio, pythagorean_hz

CONSONANT: Final = frozenset({"P1", "m3", "M3", "P4", "P5", "m6", "M6", "P8"})
"""Double stops that beat or stand still plainly enough to tune by (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Reference:
    """The strings as tuned, the system of the targets, and the drone of just intonation."""

    tuning: StringTuning
    system: System = "pythagorean"
    against: Pitch | None = None

    @property
    def a4_hz(self) -> float:
        """The A4 that the strings give, in Hz; cents above equal temperament count from it."""
        return self.tuning.a4_hz


@dataclass(frozen=True, slots=True)
class SystemPlace:
    """Where a pitch lies in the reference's system, and in which system that was found."""

    hz: float
    system: System


def open_string(instrument: Instrument, name: str) -> Pitch:
    """Return the open string of an instrument by name, with or without octave: ``D``, ``D4``.

    Raises:
        OptionError: it has no such string.
    """
    wanted: Pitch | PitchClass
    try:
        wanted = parse_pitch(name)
    except OptionError:
        wanted = parse_pitch_class(name)
    for string in instrument.open_strings:
        if wanted in (string, string.pitch_class):
            return string
    names = " ".join(map(str, instrument.open_strings))
    raise OptionError(f"no open {name} on the {instrument.name}; its strings are {names}")


def system_place(reference: Reference, pitch: Pitch) -> SystemPlace:
    """Return where a pitch that is no open string's lies in the reference's system."""
    if reference.system == "equal":
        return SystemPlace(reference.a4_hz * equal_factor(pitch), "equal")
    if reference.system == "just" and reference.against is not None:
        hz = just_hz(reference.tuning, pitch, reference.against)
        if hz is not None:
            return SystemPlace(hz, "just")
    return SystemPlace(pythagorean_hz(pitch, reference.a4_hz), "pythagorean")


def just_hz(tuning: StringTuning, pitch: Pitch, string: Pitch) -> float | None:
    """Return the frequency in Hz at which a pitch is pure against an open string as tuned.

    None where five-limit just intonation has no agreed size for the interval.
    """
    ratio = just_ratio(between(string, pitch))
    if ratio is None:
        return None
    string_hz = tuning.hz[tuning.instrument.open_strings.index(string)]
    return string_hz * ratio.numerator / ratio.denominator


def above_equal_cents(reference: Reference, pitch: Pitch, hz: float) -> float:
    """Return how far a frequency lies above the pitch in equal temperament from the same A4."""
    return 1200.0 * math.log2(hz / (reference.a4_hz * equal_factor(pitch)))


def hull_of_systems(reference: Reference, pitch: Pitch) -> Band:
    """Return the band of a note that is neither an open string's nor a half step from its anchor.

    In just intonation against a named string, "just" means that string. Otherwise it means every
    open string with which the note makes a consonant double stop (octaves aside); where there is
    none, the string nearest to the note in the chain of fifths that has a just size for it.
    """
    pythagorean = pythagorean_hz(pitch, reference.a4_hz)
    return hull(
        [
            Edge(above_equal_cents(reference, pitch, pythagorean), "Pythagorean"),
            Edge(0.0, "equal temperament"),
            *_just_edges(reference, pitch),
        ]
    )


def _just_edges(reference: Reference, pitch: Pitch) -> Iterator[Edge]:
    if pitch.is_microtone:
        return
    strings = reference.tuning.instrument.open_strings
    if reference.against is not None:
        strings = (reference.against,)
    else:
        consonant = tuple(
            one for one in strings if within_octave(between(one, pitch)).name in CONSONANT
        )
        strings = consonant or tuple(sorted(strings, key=lambda one: _fifths_apart(one, pitch)))
    for string in strings:
        hz = just_hz(reference.tuning, pitch, string)
        if hz is not None:
            interval = within_octave(between(string, pitch))
            where = f"{interval.words} {interval.direction} open {string.pitch_class}"
            yield Edge(above_equal_cents(reference, pitch, hz), f"just, {where}")
            if interval.name not in CONSONANT:
                return


def within_octave(interval: Interval) -> Interval:
    """Return an interval without the octaves in it; whole octaves become one octave."""
    octaves = max(0, (abs(interval.steps) - 1) // 7) * (interval.sign or 1)
    return Interval(interval.steps - 7 * octaves, interval.semitones - 12 * octaves)


def _fifths_apart(string: Pitch, pitch: Pitch) -> int:
    return abs(pitch.pitch_class.line_of_fifths - string.pitch_class.line_of_fifths)
