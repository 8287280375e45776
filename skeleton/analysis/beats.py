"""Where the beats of a measure fall.

Conventions (common practice, no source)
----------------------------------------
* A numerator of 6, 9, 12 and so on is a compound metre: its beats are three units long.
* A metre written as a sum over eighths or shorter (3+2/8) has a beat at the start of each term.
* Every other metre has a beat on each unit of its denominator; music without a metre has one on
  each quarter.
* A pickup (the first measure, or one that prints no number, where it is shorter than its metre)
  is counted from its end, so that its notes stand where the ear puts them.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import accumulate

from skeleton.score.model import Measure, Metre


def beat_length_quarters(metre: Metre) -> Fraction:
    """Length of a beat; of the first one where the metre is a sum of unequal terms."""
    if metre.senza_misura:
        return Fraction(1)
    unit = Fraction(4, metre.beat_type)
    if _is_sum(metre):
        return metre.groups[0] * unit
    return 3 * unit if metre.beats % 3 == 0 and metre.beats > 3 else unit


def is_pickup(measure: Measure) -> bool:
    """Whether the measure is an incomplete one that leads into the next."""
    return (
        (measure.index == 0 or measure.implicit)
        and not measure.metre.senza_misura
        and measure.length_quarters < measure.metre.length_quarters
    )


def from_downbeat_quarters(measure: Measure) -> Fraction:
    """How far after its downbeat a measure begins: 0 except for a pickup."""
    if is_pickup(measure):
        return measure.metre.length_quarters - measure.length_quarters
    return Fraction(0)


def is_beat(metre: Metre, offset_quarters: Fraction) -> bool:
    """Whether a beat falls so far after the downbeat."""
    if _is_sum(metre):
        unit = Fraction(4, metre.beat_type)
        return offset_quarters in (0, *(unit * count for count in accumulate(metre.groups[:-1])))
    return offset_quarters % beat_length_quarters(metre) == 0


def _is_sum(metre: Metre) -> bool:
    return not metre.senza_misura and len(metre.groups) > 1 and metre.beat_type >= 8
