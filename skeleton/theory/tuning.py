"""Three systems of tuning: how large a spelled interval is, and where a spelled pitch lies.

* **Pythagorean**: everything is a chain of pure fifths (3:2) and octaves (2:1). Every spelled
  interval has exactly one size. The open strings of the violin family are part of that chain.
* **Just** (five-limit): ratios of 2, 3 and 5. Only the intervals of
  :data:`skeleton.theory.tables.JUST` have a size the trade agrees on; the rest have none.
* **Equal**: twelve equal half steps to the octave, 2^(1/12) each; spelling does not matter.

Ratios are exact Fractions; cents (1200 to the octave) and Hz are floats. A ratio belongs to an
interval in its direction, so a falling interval has a ratio below 1 and negative cents.
"""

from __future__ import annotations

import math
from fractions import Fraction
from functools import lru_cache
from typing import Final, Literal, get_args

from skeleton.errors import OptionError
from skeleton.theory.interval import Interval, between
from skeleton.theory.pitch import Pitch
from skeleton.theory.tables import JUST

System = Literal["pythagorean", "just", "equal"]

SYSTEMS: Final[tuple[System, ...]] = get_args(System)
"""The systems by name."""

A4: Final = Pitch("A", 0, 4)
"""The pitch that all frequencies are counted from."""

DEFAULT_A4_HZ: Final = 440.0
"""Standard tuning frequency (ISO 16:1975)."""

LOWEST_A4_HZ: Final = 220.0
HIGHEST_A4_HZ: Final = 880.0

_FIFTH: Final = Fraction(3, 2)
_OCTAVE: Final = Fraction(2)


def cents(ratio: Fraction | float) -> float:
    """Return the size of a frequency ratio in cents: 1200 log2(ratio).

    Raises:
        OptionError: the ratio is not above 0.
    """
    if not ratio > 0:
        raise OptionError(f"{ratio} is no frequency ratio; a ratio is above 0")
    if isinstance(ratio, Fraction):
        # The two logarithms are taken apart because a long chain of fifths does not fit a float.
        return 1200.0 * (math.log2(ratio.numerator) - math.log2(ratio.denominator))
    return 1200.0 * math.log2(ratio)


def check_a4_hz(a4_hz: float) -> float:
    """Return the frequency if it can be that of A4.

    Raises:
        OptionError: it is no number, or more than an octave from 440 Hz.
    """
    if not LOWEST_A4_HZ <= a4_hz <= HIGHEST_A4_HZ:
        raise OptionError(
            f"A4 cannot be {a4_hz:g} Hz; give a frequency from {LOWEST_A4_HZ:g} to "
            f"{HIGHEST_A4_HZ:g}, usually 415 to 443"
        )
    return float(a4_hz)


@lru_cache(maxsize=1024)
def pythagorean_ratio(interval: Interval) -> Fraction:
    """Return the interval's exact size in the chain of fifths: limma 256/243, apotome 2187/2048.

    A fifth is 4 letters and 7 half steps, an octave 7 and 12; so ``steps`` and ``semitones``
    give the number of fifths and octaves, and every spelled interval has exactly one size.

    Raises:
        OptionError: a microtone, which no chain of fifths holds.
    """
    if interval.is_microtone:
        raise OptionError(
            f"an {interval.words} has no exact Pythagorean ratio; leave microtones out or use cents"
        )
    fifths = 7 * int(interval.semitones) - 12 * interval.steps
    octaves = 7 * interval.steps - 4 * int(interval.semitones)
    return _power(_FIFTH, fifths) * _power(_OCTAVE, octaves)


def pythagorean_cents(interval: Interval) -> float:
    """Return the interval's size in cents in the chain of fifths, signed.

    A microtone takes its part of the apotome (a quarter tone half of it, 56.8 cents): a
    convention of this program, for the chain of fifths holds no microtones.
    """
    if not interval.is_microtone:
        return cents(pythagorean_ratio(interval))
    fifths = 7 * interval.semitones - 12 * interval.steps
    octaves = 7 * interval.steps - 4 * interval.semitones
    return float(fifths) * cents(_FIFTH) + float(octaves) * 1200.0


def just_ratio(interval: Interval) -> Fraction | None:
    """Return the interval's size in five-limit just intonation, or None where none is agreed.

    Octaves are added to the simple interval of the table. The chromatic half step is 135/128,
    the one that together with the diatonic 16/15 makes the whole step 9/8; 25/24 (which makes
    10/9) exists as well, and so do 10/9 for a whole step and 27/25 for a diatonic half step:
    see :data:`skeleton.theory.tables.JUST_ALTERNATIVES`. None: a spelling that the table lacks
    (diminished third, diminished seventh, anything doubly altered), and microtones.
    """
    if interval.is_microtone:
        return None
    octaves, steps = divmod(abs(interval.steps), 7)
    simple = Interval(steps, interval.size - 12 * octaves)
    found = JUST.get(simple.name)
    if found is None:
        return None
    # A diminished octave leaves a chromatic half step down once its octave is taken off.
    ratio = found.ratio if simple.sign >= 0 else 1 / found.ratio
    ratio *= _power(_OCTAVE, octaves)
    return ratio if interval.sign >= 0 else 1 / ratio


def equal_cents(interval: Interval) -> float:
    """Return the interval's size in equal temperament: 100 cents for each half step, signed."""
    return float(100 * interval.semitones)


def interval_cents(interval: Interval, system: System) -> float | None:
    """Return the interval's size in cents in a system; None where it has none there."""
    if system == "equal":
        return equal_cents(interval)
    if system == "just":
        ratio = just_ratio(interval)
        return None if ratio is None else cents(ratio)
    return pythagorean_cents(interval)


def pythagorean_factor(pitch: Pitch) -> Fraction:
    """Return the pitch's exact frequency over that of A4, in the chain of fifths.

    Raises:
        OptionError: the pitch is a microtone.
    """
    return pythagorean_ratio(between(A4, pitch))


def pythagorean_hz(pitch: Pitch, a4_hz: float = DEFAULT_A4_HZ) -> float:
    """Return the pitch's frequency in Hz, in the chain of fifths from A4.

    Microtones as in :func:`pythagorean_cents`.

    Raises:
        OptionError: the frequency of A4 is out of range.
    """
    check_a4_hz(a4_hz)
    if pitch.is_microtone:
        return a4_hz * math.pow(2.0, pythagorean_cents(between(A4, pitch)) / 1200.0)
    factor = pythagorean_factor(pitch)
    return a4_hz * factor.numerator / factor.denominator


def equal_factor(pitch: Pitch) -> float:
    """Return the pitch's frequency over that of A4 in equal temperament: 2^(half steps/12)."""
    return math.pow(2.0, float(pitch.midi - A4.midi) / 12.0)


def equal_hz(pitch: Pitch, a4_hz: float = DEFAULT_A4_HZ) -> float:
    """Return the pitch's frequency in Hz in equal temperament.

    Raises:
        OptionError: the frequency of A4 is out of range.
    """
    return check_a4_hz(a4_hz) * equal_factor(pitch)


def _power(base: Fraction, exponent: int) -> Fraction:
    power: Fraction = base**exponent
    return power
