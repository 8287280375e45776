"""MIDI note numbers and frequencies in equal temperament.

Number 69 is A4 and each number one equal half step, so ``hz = a4 * 2^((number - 69) / 12)``
(MIDI Tuning Standard). Number 60 is middle C, which this program calls C4 as MusicXML does.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Final

from skeleton.errors import OptionError
from skeleton.theory.tuning import DEFAULT_A4_HZ, check_a4_hz

A4_NUMBER: Final = 69
"""The MIDI note number of A4."""


def midi_hz(number: float | Fraction, a4_hz: float = DEFAULT_A4_HZ) -> float:
    """Return the frequency in Hz of a note number; fractions of a number are microtones.

    Raises:
        OptionError: the frequency of A4 is out of range.
    """
    return check_a4_hz(a4_hz) * math.pow(2.0, float(number - A4_NUMBER) / 12.0)


def nearest_midi(hz: float, a4_hz: float = DEFAULT_A4_HZ) -> tuple[int, float]:
    """Return the nearest note number and how many cents the frequency lies above it.

    The cents are from -50 up to but not including 50. The number may lie outside MIDI's own
    range of 0 to 127, for frequencies beyond it.

    Raises:
        OptionError: the frequency is not above 0 or not finite, or that of A4 is out of range.
    """
    if not (hz > 0 and math.isfinite(hz)):
        raise OptionError(f"{hz} is no frequency in Hz; a frequency is above 0")
    exact = A4_NUMBER + 12.0 * math.log2(hz / check_a4_hz(a4_hz))
    number = math.floor(exact + 0.5)
    return number, 100.0 * (exact - number)
