"""Spelled intervals: letters and half steps, their names, and the words a student reads.

An interval is two signed counts, both from the first pitch up: ``steps`` in letters and
``semitones`` in half steps. The two together name it; half steps alone do not, for F sharp to
G and F to F sharp are both one half step, and only the first is a second.

Conventions
-----------
* Direction follows the letters. Where the letter stays (``steps`` is 0) it follows the half
  steps, so F sharp down to F is a descending augmented unison: ``A1``, below. There is no
  diminished unison. Elsewhere the two may disagree (B double sharp up to C flat sounds lower);
  the letters still decide, and the name then is a many times diminished second, *above*.
* A *half step* is exactly the minor second and the augmented unison. Other spellings that span
  one key (a doubly diminished third) are called by their own names.
* Names carry no direction. Compound intervals keep their number: ``m9`` is no ``m2``.
* Microtones have no quality. They are named by number and exact size: ``2(3/2)`` is a second of
  one and a half half steps.

Sizes of major and perfect intervals and the names built on them: any primer of music theory,
for example Gehrkens, *Music Notation and Terminology* (1914), sections 183-195.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Final, Literal

from skeleton.errors import OptionError
from skeleton.theory.pitch import SEMITONES, STEPS, Pitch, PitchClass, make_pitch

Direction = Literal["above", "below", "same"]

_NATURAL: Final = tuple(SEMITONES[step] for step in STEPS)
"""Half steps of the perfect or major interval for each number of letters, 0 to 6."""

_PERFECT: Final = frozenset({0, 3, 4})
"""Numbers of letters, octaves aside, whose interval is perfect: unison, fourth, fifth."""

_NUMBER_WORDS: Final = (
    "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave",
    "ninth", "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth",
)  # fmt: skip

_TIMES: Final = ("", "doubly ", "triply ", "quadruply ", "quintuply ")

_PLAIN_WORDS: Final = {
    "P1": "unison",
    "A1": "chromatic half step",
    "m2": "half step",
    "M2": "whole step",
    "P8": "octave",
    "P15": "double octave",
    "P22": "triple octave",
}

_NAME: Final = re.compile(r"(?P<quality>P|M|m|A+|d+)(?P<number>[1-9]\d{0,2})")

_MINUS: Final = "\N{MINUS SIGN}"

_FRACTION_GLYPHS: Final = {
    Fraction(0): "",
    Fraction(1, 4): "\N{VULGAR FRACTION ONE QUARTER}",
    Fraction(1, 2): "\N{VULGAR FRACTION ONE HALF}",
    Fraction(3, 4): "\N{VULGAR FRACTION THREE QUARTERS}",
}


@dataclass(frozen=True, slots=True)
class Interval:
    """The way from one pitch to another: ``steps`` letters and ``semitones`` half steps.

    Both are signed, positive upwards, and compound intervals count on (an octave is 7 and 12).
    ``semitones`` is a Fraction for microtones only.
    """

    steps: int
    semitones: int | Fraction

    def __neg__(self) -> Interval:
        """Return the way back."""
        return Interval(-self.steps, -self.semitones)

    def __add__(self, other: Interval) -> Interval:
        """Return both intervals, one after the other."""
        return Interval(self.steps + other.steps, _whole(self.semitones + other.semitones))

    def __sub__(self, other: Interval) -> Interval:
        """Return this interval with the other one taken off."""
        return self + -other

    @property
    def sign(self) -> int:
        """1 above, -1 below, 0 same: by letters, or by half steps where the letter stays."""
        leading = self.steps or self.semitones
        return (leading > 0) - (leading < 0)

    @property
    def direction(self) -> Direction:
        """Where the second pitch stands from the first."""
        if self.sign == 0:
            return "same"
        return "above" if self.sign > 0 else "below"

    @property
    def number(self) -> int:
        """The interval's number: 1 for a unison, 2 for a second, 9 for a ninth."""
        return abs(self.steps) + 1

    @property
    def size(self) -> int | Fraction:
        """Half steps in the interval's own direction; negative in overstretched spellings."""
        return self.semitones * (self.sign or 1)

    @property
    def is_microtone(self) -> bool:
        """Whether the size is no whole number of half steps."""
        return self.semitones != int(self.semitones)

    @property
    def is_half_step(self) -> bool:
        """Whether this is a half step: a minor second or an augmented unison, and no other."""
        return self.size == 1 and abs(self.steps) <= 1

    @property
    def name(self) -> str:
        """Quality and number, without direction: ``P1``, ``m2``, ``A1``, ``AA4``, ``m9``.

        Microtones: number and exact size in half steps, ``2(3/2)``.
        """
        if self.is_microtone:
            return f"{self.number}({self.size})"
        return f"{self._quality}{self.number}"

    @property
    def words(self) -> str:
        """The name in words, without direction: "half step", "diminished fourth", "octave".

        A minor second is a "half step", an augmented unison a "chromatic half step" and a major
        second a "whole step". Microtones: "interval of 1 1/2 half steps".
        """
        if self.is_microtone:
            return f"interval of {_mixed(Fraction(self.size))}"
        if self.name in _PLAIN_WORDS:
            return _PLAIN_WORDS[self.name]
        quality = self._quality
        times = len(quality)
        kind = {"P": "perfect", "M": "major", "m": "minor", "A": "augmented", "d": "diminished"}
        degree = _TIMES[times - 1] if times <= len(_TIMES) else f"{times} times "
        return f"{degree}{kind[quality[0]]} {_number_words(self.number)}"

    @property
    def _quality(self) -> str:
        octaves, letters = divmod(abs(self.steps), 7)
        excess = int(self.size) - 12 * octaves - _NATURAL[letters]
        if excess > 0:
            return "A" * excess
        if letters in _PERFECT:
            return "P" if excess == 0 else "d" * -excess
        return "M" if excess == 0 else "m" if excess == -1 else "d" * (-excess - 1)


def between(first: Pitch, second: Pitch) -> Interval:
    """Return the interval from the first pitch to the second."""
    return Interval(second.diatonic - first.diatonic, _whole(second.midi - first.midi))


def transpose(pitch: Pitch, interval: Interval) -> Pitch:
    """Return the pitch an interval away; the inverse of :func:`between`."""
    octave, letter = divmod(pitch.diatonic + interval.steps, 7)
    natural = make_pitch(STEPS[letter], 0, octave)
    return make_pitch(STEPS[letter], _whole(pitch.midi + interval.semitones - natural.midi), octave)


@lru_cache(maxsize=256)
def interval_named(name: str) -> Interval:
    """Return the rising interval with a name such as ``m2``, ``A1``, ``dd5``, ``M10``.

    Raises:
        OptionError: the text names no interval; ``P3`` and ``d1`` name none.
    """
    match = _NAME.fullmatch(name)
    if match is not None:
        quality, steps = match["quality"], int(match["number"]) - 1
        octaves, letters = divmod(steps, 7)
        times = len(quality)
        shift = {"P": 0, "M": 0, "m": -1, "A": times}.get(quality[0])
        if shift is None:
            shift = -times if letters in _PERFECT else -times - 1
        found = Interval(steps, 12 * octaves + _NATURAL[letters] + shift)
        if found.name == name and found.sign >= 0:
            return found
    raise OptionError(f"{name!r} names no interval; write a quality and a number: m2, A1, P4, d5")


def describe(interval: Interval, anchor: Pitch) -> str:
    """Say where a note stands from its anchor: "half step below G4", "same pitch as F#4"."""
    if interval.sign == 0:
        return f"same pitch as {anchor}"
    return f"{interval.words} {interval.direction} {anchor}"


def short(interval: Interval, anchor: Pitch | PitchClass) -> str:
    """Return the mark that stands under a note: its anchor's name, a sign and a size.

    Sizes are counted in whole steps, as players say them: ``G-½`` is a half step below G,
    ``D+1`` a whole step above D. A leading ``=`` says *same letter*: ``=G`` is the anchor's own
    pitch, and ``=F+½`` the chromatic half step above F, which thereby differs from ``F+½``, the
    diatonic one, in plain black and white. Larger intervals go by name: ``G-m3``, ``D+P4``.
    Microtones are counted in whole steps again: ``=F+¼`` is a quarter tone above F.

    The minus of the result is the typographic one, U+2212, and the half U+00BD. The anchor is
    named without octave, in ``#`` and ``b``.
    """
    pitch_class = anchor.pitch_class if isinstance(anchor, Pitch) else anchor
    same_letter = "=" if interval.steps == 0 else ""
    if interval.sign == 0:
        return f"={pitch_class}"
    sign = "+" if interval.sign > 0 else _MINUS
    return f"{same_letter}{pitch_class}{sign}{_short_size(interval)}"


def _short_size(interval: Interval) -> str:
    plain = interval.is_half_step or interval.name == "M2"
    if not plain and not interval.is_microtone:
        return interval.name
    whole_steps = Fraction(interval.size) / 2
    if whole_steps < 0:
        return f"({_MINUS}{_glyphs(-whole_steps)})"
    return _glyphs(whole_steps)


def _glyphs(value: Fraction) -> str:
    whole, rest = divmod(value, 1)
    if rest in _FRACTION_GLYPHS:
        return f"{whole or ''}{_FRACTION_GLYPHS[rest]}"
    return str(value)


def _mixed(half_steps: Fraction) -> str:
    whole, rest = divmod(abs(half_steps), 1)
    sign = "-" if half_steps < 0 else ""
    number = f"{whole} {rest}" if whole else f"{rest}"
    return f"{sign}{number} half step{'s' if whole else ''}"


def _number_words(number: int) -> str:
    if number <= len(_NUMBER_WORDS):
        return _NUMBER_WORDS[number - 1]
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10)
    return f"{number}{ending or 'th'}"


def _whole(value: int | Fraction) -> int | Fraction:
    if isinstance(value, Fraction) and value.denominator == 1:
        return int(value)
    return value
