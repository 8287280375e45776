"""Which open strings answer a note, by which partials, and how strongly.

A note f_p and an open string f_s with f_p/f_s = p/q in lowest terms share partials: the q-th of
the note meets the p-th mode of the string, and so do their multiples. For an ideal bowed string
(partials falling as 1/n), a string driven at its end and a body that carries all frequencies
alike, the string's answer at ``c`` cents from the pure ratio, relative to a unison in tune, is ::

    R = 1/(p q)^2 / (1 + (2 Q (2^(c/1200) - 1))^2)

where Q is the quality factor of the open string. Derived here; it agrees with the sum over 200
partials of |1/sin(pi f/f_s (1 - i/2Q))|^2, weighted 1/n^2, within 0.4 dB for p q up to 20.

Limits
------
* Trustworthy for **one note at different cents**: where the answer is strongest, and how fast it
  fades. Between notes it is a heuristic: a real body takes or adds 20 dB from note to note.
* No published Q of violin strings was found. 300 is assumed; at Q of 100, 300 and 1000 the answer
  falls to half its power 8.6, 2.9 and 0.9 cents off.
* A string under a finger does not answer; which other strings a hand touches is not known here.
* The strings count as they are tuned now, not as they should be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from skeleton.theory.instrument import Instrument
from skeleton.theory.pitch import Pitch
from skeleton.theory.strings import StringTuning

ASSUMED_Q: Final = 300.0
"""Quality factor assumed for an open string: A 440 dying away by 60 dB in 1.5 seconds."""

WEAKEST_DB: Final = -28.0
"""Answers weaker than this are not listed."""

LISTEN_FROM_DB: Final = -19.5
"""A note rings, for a listener, when a string in tune with it answers at least like this. Under
Pythagorean targets every note named like an open string of the violin does up to E7, and no
other note but three flats that lie a schisma (2 cents) from a pure seventeenth over an open
string: C flat 6, G flat 6 and D flat 7."""

_LARGEST_PRODUCT: Final = 25
"""The largest p q that can reach the weakest answer listed: 1/25^2 is -28.0 dB."""

_RATIOS: Final = tuple(
    Fraction(p, q)
    for p in range(1, _LARGEST_PRODUCT + 1)
    for q in range(1, _LARGEST_PRODUCT // p + 1)
    if math.gcd(p, q) == 1
)


@dataclass(frozen=True, slots=True)
class Answer:
    """One open string that answers a note.

    Attributes:
        string: the string.
        ratio: p/q, the pure ratio of note to string that is nearest in effect. Partial q of the
            note meets mode p of the string.
        off_cents: how far the note lies above that ratio.
        strength_db: 0 for a unison in tune.
    """

    string: Pitch
    ratio: Fraction
    off_cents: float
    strength_db: float


def answers(
    tuning: StringTuning,
    pitch: Pitch,
    hz: float,
    *,
    stopped: Pitch | None = None,
    quality: float = ASSUMED_Q,
) -> tuple[Answer, ...]:
    """Return the open strings that answer a note, strongest first.

    Args:
        tuning: the open strings as they are.
        pitch: the sounding pitch, which says where it is usually stopped.
        hz: where it sounds.
        stopped: the string it is played on; the usual one (:func:`usual_string`) if None. That
            string never answers.
        quality: Q of the open strings.
    """
    played_on = usual_string(tuning.instrument, pitch) if stopped is None else stopped
    found = []
    for string, string_hz in zip(tuning.instrument.open_strings, tuning.hz, strict=True):
        if string == played_on:
            continue
        best = max(
            (
                Answer(string, ratio, off, strength_db(ratio, off, quality))
                for ratio in _RATIOS
                if abs(off := _off_cents(hz / string_hz, ratio)) < 100.0
            ),
            key=lambda one: one.strength_db,
            default=None,
        )
        if best is not None and best.strength_db >= WEAKEST_DB:
            found.append(best)
    return tuple(sorted(found, key=lambda one: -one.strength_db))


def usual_string(instrument: Instrument, pitch: Pitch) -> Pitch:
    """Return the string a note is taken to be stopped on: the highest one that lies below it.

    A note named like an open string, in its octave, is stopped on the string below, so that the
    open one can answer. The lowest string's own note is that string, open.
    """
    below = [one for one in instrument.open_strings if one.midi < pitch.midi]
    return below[-1] if below else instrument.open_strings[0]


def strength_db(ratio: Fraction, off_cents: float, quality: float = ASSUMED_Q) -> float:
    """Return how strongly a string answers, in dB below a unison in tune.

    Args:
        ratio: p/q of note to string.
        off_cents: how far the note is from that ratio.
        quality: Q of the string.
    """
    detuning = 2.0 * quality * (math.pow(2.0, off_cents / 1200.0) - 1.0)
    product = ratio.numerator * ratio.denominator
    return 0.0 - 20.0 * math.log10(product) - 10.0 * math.log10(1.0 + detuning * detuning)


def half_power_cents(quality: float = ASSUMED_Q) -> float:
    """Return how far off a note may be before the answer falls to half its power."""
    return 1200.0 * math.log2(1.0 + 1.0 / (2.0 * quality))


def rings(found: tuple[Answer, ...]) -> bool:
    """Whether a note with these answers should ring so that a player can listen for it.

    Asked of the answers in tune only (within twice the half width at the assumed Q): an F flat
    stirs the open E, yet it is no E.
    """
    near_cents = 2.0 * half_power_cents()
    return any(
        one.strength_db >= LISTEN_FROM_DB and abs(one.off_cents) <= near_cents for one in found
    )


def _off_cents(ratio: float, pure: Fraction) -> float:
    return 1200.0 * math.log2(ratio * pure.denominator / pure.numerator)
