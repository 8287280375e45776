"""Whole-number times for writing a reduction.

A score's times are exact fractions of a quarter, and arithmetic with fractions is slow. Here a
part gets a unit, a number of *ticks* in a quarter, of which all that a reduction of it can write
is a whole multiple: its own times, its beats, plain values down to the shortest, and those inside
its tuplets.
"""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import Final

from skeleton.analysis.timeline import ticks_per_quarter
from skeleton.score.model import Part

GRID_PER_QUARTER: Final = 64
"""Of the shortest value that is written, a 256th, so many make a quarter; times off this grid need
a tuplet."""


def ticks_of(part: Part) -> int:
    """Return how many ticks a quarter has in a part."""
    beats = {measure.metre.beat_type for measure in part.measures}
    plain = lcm(ticks_per_quarter([part]), GRID_PER_QUARTER, *beats)
    ratios = {note.time_modification for note in part.notes} - {None}
    return plain * lcm(*(lcm(ratio.actual, ratio.normal) for ratio in ratios if ratio))


def to_ticks(time_quarters: Fraction, unit: int) -> int:
    """Return a time in quarters as ticks. It must be a time of the part that the unit is of."""
    return time_quarters.numerator * (unit // time_quarters.denominator)
