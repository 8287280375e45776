"""Drones: pitches that sound together without change, to practise against.

Level: -20 dBFS RMS, or less where more tones than usual would bring peaks over -6 dBFS. (What that
is in a room is up to the player's volume: it must stay under the playing.) Tones that share
partials share them in phase (:mod:`skeleton.audio.tone`), so pure fifths stand still.

Loops
-----
A loop begins and ends in full sound, without fades, and its end is its beginning: each tone makes
a whole number of cycles in it, so values and slopes go on where they left off. For that the
length gives way by up to half a second and the pitches by up to 0.1 cent, in practice far less.
Tones in a simple ratio (a pure fifth, an octave) move together, as multiples of one fundamental
that they share, so that the ratio stays exact and their partials still meet. Where no length near
the wanted one serves within 0.1 cent, it is too short for these pitches, and that is said.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np

from skeleton.audio.sounds import BLOCK, PEAK_DBFS, Sound, amplitude, render
from skeleton.audio.tone import Samples, amplitudes, check_hz, check_rate, peak, steady
from skeleton.errors import OptionError

LEVEL_DBFS: Final = -20.0
"""RMS level of a drone."""

IN_TUNE_CENTS: Final = 0.1
"""How far a loop may move a pitch."""

LONGEST_S: Final = 6 * 3600.0
SHORTEST_S: Final = 0.5
MOST_TONES: Final = 24

_GOOD_CENTS: Final = 0.005
"""Of the lengths that keep every pitch this well, the one nearest to what was asked is taken."""
_GIVE_S: Final = 0.5
_LARGEST_DENOMINATOR: Final = 64
_SAME_RATIO: Final = 1e-12
_SAME_PARTIAL: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Drone:
    """A drone ready to be written: its tones in Hz, its length, and whether it is a loop.

    ``level_dbfs`` is the RMS level of the whole; ``gain`` the factor for each tone of RMS 1.
    """

    hz: tuple[float, ...]
    samples: int
    rate: int
    loop: bool
    level_dbfs: float
    gain: float

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.samples / self.rate


def drone(hz: Sequence[float], seconds: float, rate: int, *, loop: bool = False) -> Drone:
    """Return the drone of these frequencies.

    Args:
        hz: 1 to 24 frequencies; one that is given twice sounds once.
        seconds: how long, 0.5 s to 6 hours; a loop may last up to half a second more or less.
        rate: samples a second.
        loop: whether its end is to join its beginning.

    Raises:
        OptionError: a value is out of range, or the loop is too short for these pitches.
    """
    tones = list(dict.fromkeys(check_hz(one) for one in hz))
    if not 1 <= len(tones) <= MOST_TONES:
        raise OptionError(f"{len(tones)} pitches for a drone; give 1 to {MOST_TONES}, usually 1, 2")
    if not SHORTEST_S <= seconds <= LONGEST_S:
        raise OptionError(
            f"a drone of {seconds:g} s cannot be made; give {SHORTEST_S:g} to {LONGEST_S:g} seconds"
        )
    samples = round(seconds * check_rate(rate))
    if loop:
        samples, tones = _loop(tones, samples, rate)
    rms = _rms(tones, rate)
    crest = sum(peak(one, rate) for one in tones)
    gain = min(amplitude(LEVEL_DBFS) / rms, amplitude(PEAK_DBFS) * (1.0 - 1e-6) / crest)
    return Drone(tuple(tones), samples, rate, loop, 20.0 * math.log10(gain * rms), gain)


def drone_blocks(made: Drone, *, block: int = BLOCK) -> Iterator[Samples]:
    """Yield the drone's samples in blocks."""
    if not made.loop:
        sounds = [Sound(0.0, made.seconds, one, 0.0) for one in made.hz]
        yield from render(sounds, made.seconds, made.rate, block=block, gain=made.gain)
        return
    for first in range(0, made.samples, block):
        count = min(block, made.samples - first)
        mixed = np.zeros(count)
        for one in made.hz:
            mixed += steady(one, made.rate, first, count)
        mixed *= made.gain
        yield mixed


def _rms(tones: Sequence[float], rate: int) -> float:
    """The RMS of tones of RMS 1 together: partials they share add up, others add in power."""
    partials = sorted(
        (one * number, float(height))
        for one in tones
        for number, height in enumerate(amplitudes(one, rate), start=1)
    )
    power = together = 0.0
    before = 0.0
    for frequency, height in partials:
        if frequency - before > _SAME_PARTIAL * frequency:
            power += together**2 / 2.0
            together = 0.0
        together += height
        before = frequency
    return math.sqrt(power + together**2 / 2.0)


def _loop(tones: list[float], samples: int, rate: int) -> tuple[int, list[float]]:
    """The length near the wanted one that all tones fit, and the tones as they fit it."""
    families = _families(tones)
    give = min(round(_GIVE_S * rate), samples // 4)
    lengths = np.arange(samples - give, samples + give + 1, dtype=np.float64)
    worst = np.zeros(len(lengths))
    for root, _ in families:
        cycles = lengths * (root / rate)
        whole = np.maximum(np.rint(cycles), 1.0)
        np.maximum(worst, np.abs(1200.0 * np.log2(whole / cycles)), out=worst)
    good = np.flatnonzero(worst <= max(_GOOD_CENTS, float(worst.min())))
    chosen = int(good[np.argmin(np.abs(lengths[good] - samples))])
    if worst[chosen] > IN_TUNE_CENTS:
        raise OptionError(
            f"a loop of {samples / rate:g} s is too short for these pitches to be in tune within "
            f"{IN_TUNE_CENTS:g} cent; give more --seconds"
        )
    length = int(lengths[chosen])
    fitted: dict[float, float] = {}
    for root, members in families:
        cycles_of_root = max(1, round(length * root / rate))
        for tone, multiple in members:
            fitted[tone] = cycles_of_root * multiple * rate / length
    return length, [fitted[tone] for tone in tones]


def _families(tones: Sequence[float]) -> list[tuple[float, list[tuple[float, int]]]]:
    """Tones in simple ratios, as multiples of the highest fundamental that they share."""
    found: list[list[tuple[float, Fraction]]] = []
    for tone in sorted(tones):
        for family in found:
            ratio = tone / family[0][0]
            simple = Fraction(ratio).limit_denominator(_LARGEST_DENOMINATOR)
            if abs(float(simple) / ratio - 1.0) <= _SAME_RATIO:
                family.append((tone, simple))
                break
        else:
            found.append([(tone, Fraction(1))])
    families = []
    for family in found:
        parts = math.lcm(*(ratio.denominator for _, ratio in family))
        shared = math.gcd(*(int(ratio * parts) for _, ratio in family))
        members = [(tone, int(ratio * parts) // shared) for tone, ratio in family]
        families.append((family[0][0] * shared / parts, members))
    return families
