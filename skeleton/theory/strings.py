"""The open strings as they sound: tuned pure, tuned equal, or as measured from a take.

The chain of fifths (:func:`skeleton.theory.instrument.open_string_hz`) says where the strings
should be; this type holds where they are, and what a note named like one of them must match.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from skeleton.errors import OptionError
from skeleton.theory.instrument import Instrument, open_string_hz, string_named
from skeleton.theory.pitch import Pitch
from skeleton.theory.tuning import A4, DEFAULT_A4_HZ, cents, equal_hz, pythagorean_factor

FARTHEST_STRING_CENTS: Final = 350.0
"""How far a measured string may lie from its name at A4 = 440 Hz and still be believed. Wide
enough for historical pitch (392 Hz is 200 cents low), too narrow for a fifth or fourth."""


@dataclass(frozen=True, slots=True)
class StringTuning:
    """The open strings' frequencies in Hz, low to high, and where they come from."""

    instrument: Instrument
    hz: tuple[float, ...]
    origin: Literal["pure", "equal", "measured"]

    @property
    def a4_hz(self) -> float:
        """The A4 that these strings give: whole octaves from the A string.

        Without an A string, the Pythagorean A4 of the string nearest to A4.
        """
        strings = self.instrument.open_strings
        reference = string_named(self.instrument, A4)
        if reference is None:
            reference = min(strings, key=lambda string: abs(float(string.midi - A4.midi)))
        factor = pythagorean_factor(reference)
        return self.hz[strings.index(reference)] * factor.denominator / factor.numerator

    @property
    def deviations_cents(self) -> tuple[float, ...]:
        """How far each string lies above its pure tuning from this tuning's own A4."""
        pure = open_string_hz(self.instrument, self.a4_hz)
        return tuple(cents(hz / target) for hz, target in zip(self.hz, pure, strict=True))

    def match_hz(self, pitch: Pitch) -> float | None:
        """Return what a note must sound to match the open string of its name, or None.

        Whole octaves from that string as it is tuned here; None where no string has the name.
        """
        string = string_named(self.instrument, pitch)
        if string is None:
            return None
        octaves = pitch.octave - string.octave
        return math.ldexp(self.hz[self.instrument.open_strings.index(string)], octaves)


def pure(instrument: Instrument, a4_hz: float = DEFAULT_A4_HZ) -> StringTuning:
    """Return the strings tuned pure outward from the A string.

    Raises:
        OptionError: the frequency of A4 is out of range.
    """
    return StringTuning(instrument, open_string_hz(instrument, a4_hz), "pure")


def equal(instrument: Instrument, a4_hz: float = DEFAULT_A4_HZ) -> StringTuning:
    """Return the strings tuned to equal temperament, as by a tuner.

    Raises:
        OptionError: the frequency of A4 is out of range.
    """
    hz = tuple(equal_hz(string, a4_hz) for string in instrument.open_strings)
    return StringTuning(instrument, hz, "equal")


def strings_from_hz(instrument: Instrument, hz: Sequence[float]) -> StringTuning:
    """Return the strings as measured: one frequency in Hz for each, low to high.

    Raises:
        OptionError: there are more or fewer frequencies than strings, or one lies more than
            :data:`FARTHEST_STRING_CENTS` from its string's name at A4 = 440 Hz.
    """
    names = " ".join(map(str, instrument.open_strings))
    if len(hz) != len(instrument.open_strings):
        raise OptionError(
            f"{len(hz)} frequencies for {len(instrument.open_strings)} strings; "
            f"give one for each of {names}, low to high"
        )
    for string, value, target in zip(
        instrument.open_strings, hz, open_string_hz(instrument), strict=True
    ):
        plausible = value > 0 and math.isfinite(value)
        if not plausible or abs(cents(value / target)) > FARTHEST_STRING_CENTS:
            raise OptionError(
                f"{value:g} Hz cannot be the open {string} (near {target:.1f} Hz); "
                f"give one frequency for each of {names}, low to high"
            )
    return StringTuning(instrument, tuple(map(float, hz)), "measured")
