"""Spelled pitch: a letter, an alteration and an octave.

Octave numbers are those of MusicXML and of scientific pitch notation: octave 4 starts at
middle C, and the number belongs to the letter (B#3 sounds like C4 and is still octave 3).
Alterations are counted in half steps. Quarter tones are kept as fractions, so nothing that a
score says about pitch is lost.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Final

from skeleton.errors import OptionError

STEPS: Final = "CDEFGAB"
"""The letters in the order in which an octave counts them."""

DIATONIC: Final[dict[str, int]] = {step: index for index, step in enumerate(STEPS)}
"""Letter to its place above C, 0 to 6."""

SEMITONES: Final[dict[str, int]] = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
"""Letter to its semitones above C when unaltered."""

FIFTHS: Final[dict[str, int]] = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
"""Letter to its place on the line of fifths, C being 0."""

_SPELLING: Final = re.compile(
    r"(?P<step>[A-Ga-g])(?P<sign>#{0,4}|b{0,4}|x|\(\s*[+-]\d{1,4}(?:/[1-9]\d{0,3})?\s*\))"
    r"(?P<octave>-?\d{1,2})?"
)


def _sign_text(alter: int | Fraction) -> str:
    if alter == int(alter) and -4 <= alter <= 4:
        return "#" * int(alter) if alter > 0 else "b" * -int(alter)
    return f"({'+' if alter > 0 else '-'}{abs(alter)})"


@dataclass(frozen=True, slots=True)
class PitchClass:
    """A letter with its alteration, in no octave: F sharp and G flat are two pitch classes."""

    step: str
    alter: int | Fraction = 0

    @property
    def line_of_fifths(self) -> int:
        """Place on the line of fifths, C being 0.

        Raises:
            OptionError: a microtone, which has no place there.
        """
        if self.alter != int(self.alter):
            raise OptionError(
                f"{self} is a microtone and stands in no line of fifths; leave it out"
            )
        return FIFTHS[self.step] + 7 * int(self.alter)

    @property
    def chroma(self) -> int | Fraction:
        """Semitones above C, 0 to below 12: equal for enharmonic twins."""
        return (SEMITONES[self.step] + self.alter) % 12

    def __str__(self) -> str:
        return self.step + _sign_text(self.alter)


@dataclass(frozen=True, slots=True)
class Pitch:
    """A letter, its alteration in half steps (fractions for microtones) and its octave."""

    step: str
    alter: int | Fraction
    octave: int

    @property
    def pitch_class(self) -> PitchClass:
        """The pitch without its octave."""
        return PitchClass(self.step, self.alter)

    @property
    def diatonic(self) -> int:
        """Letters above C0, whatever the alteration: the place on the staff."""
        return 7 * self.octave + DIATONIC[self.step]

    @property
    def midi(self) -> int | Fraction:
        """MIDI note number, C4 being 60; a fraction for microtones."""
        return 12 * (self.octave + 1) + SEMITONES[self.step] + self.alter

    @property
    def is_microtone(self) -> bool:
        """Whether the alteration is no whole number of half steps."""
        return self.alter != int(self.alter)

    def __str__(self) -> str:
        return f"{self.step}{_sign_text(self.alter)}{self.octave}"


@lru_cache(maxsize=4096)
def make_pitch(step: str, alter: int | Fraction, octave: int) -> Pitch:
    """Return the pitch, sharing one object per spelling (scores repeat few pitches often)."""
    if isinstance(alter, Fraction) and alter.denominator == 1:
        alter = int(alter)
    return Pitch(step, alter, octave)


def parse_pitch(text: str) -> Pitch:
    """Read a pitch written as ``F#4``, ``Bb3``, ``C##5``, ``Cx5`` or ``F(+1/2)4``.

    Raises:
        OptionError: the text is no pitch with an octave.
    """
    match = _SPELLING.fullmatch(text.strip())
    if match is None or match["octave"] is None:
        raise OptionError(f"{text!r} is no pitch; write a letter, #s or bs and an octave: F#4, Bb3")
    return make_pitch(match["step"].upper(), _alter(match["sign"]), int(match["octave"]))


def parse_pitch_class(text: str) -> PitchClass:
    """Read a pitch class written as ``F#``, ``Bb``, ``C##``.

    Raises:
        OptionError: the text is no pitch class.
    """
    match = _SPELLING.fullmatch(text.strip())
    if match is None or match["octave"] is not None:
        raise OptionError(f"{text!r} is no note name; write a letter and #s or bs: F#, Bb, C##")
    return PitchClass(match["step"].upper(), _alter(match["sign"]))


def _alter(sign: str) -> int | Fraction:
    if sign.startswith("("):
        value = Fraction(sign.strip("() "))
        return int(value) if value.denominator == 1 else value
    return 2 if sign == "x" else sign.count("#") - sign.count("b")
