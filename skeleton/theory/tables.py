"""Published sizes of intervals, as data: what the tuning functions read and the tests check.

Every row names its system, its interval, its exact ratio and where the ratio comes from. Rows
are keyed by ratio and interval, never by a comma's or half step's popular name: several of those
names are used for different ratios by different authors.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

_CHAIN: Final = "chain of pure fifths 3/2, brought within the octave: arithmetic"
_ELLIS: Final = (
    "Helmholtz, On the Sensations of Tone, tr. Ellis, 2nd ed. 1885, App. XX; cited from memory"
)
_SUM: Final = "sum of five-limit intervals of this table: arithmetic"


@dataclass(frozen=True, slots=True)
class IntervalSize:
    """One row: the exact size of a rising interval within an octave in a system of tuning.

    ``interval`` is a name as :attr:`skeleton.theory.interval.Interval.name` gives it; ``source``
    says where the ratio was published, or which arithmetic gives it.
    """

    system: Literal["pythagorean", "just"]
    interval: str
    numerator: int
    denominator: int
    source: str

    @property
    def ratio(self) -> Fraction:
        """The upper frequency over the lower one."""
        return Fraction(self.numerator, self.denominator)


_PYTHAGOREAN_ROWS: Final = (
    IntervalSize("pythagorean", "P1", 1, 1, _CHAIN),
    IntervalSize("pythagorean", "A1", 2187, 2048, _CHAIN),
    IntervalSize("pythagorean", "m2", 256, 243, _CHAIN),
    IntervalSize("pythagorean", "M2", 9, 8, _CHAIN),
    IntervalSize("pythagorean", "A2", 19683, 16384, _CHAIN),
    IntervalSize("pythagorean", "d3", 65536, 59049, _CHAIN),
    IntervalSize("pythagorean", "m3", 32, 27, _CHAIN),
    IntervalSize("pythagorean", "M3", 81, 64, _CHAIN),
    IntervalSize("pythagorean", "d4", 8192, 6561, _CHAIN),
    IntervalSize("pythagorean", "P4", 4, 3, _CHAIN),
    IntervalSize("pythagorean", "A4", 729, 512, _CHAIN),
    IntervalSize("pythagorean", "d5", 1024, 729, _CHAIN),
    IntervalSize("pythagorean", "P5", 3, 2, _CHAIN),
    IntervalSize("pythagorean", "A5", 6561, 4096, _CHAIN),
    IntervalSize("pythagorean", "m6", 128, 81, _CHAIN),
    IntervalSize("pythagorean", "M6", 27, 16, _CHAIN),
    IntervalSize("pythagorean", "m7", 16, 9, _CHAIN),
    IntervalSize("pythagorean", "M7", 243, 128, _CHAIN),
    IntervalSize("pythagorean", "P8", 2, 1, _CHAIN),
)

_JUST_ROWS: Final = (
    IntervalSize("just", "P1", 1, 1, _ELLIS),
    IntervalSize("just", "A1", 135, 128, _ELLIS),
    IntervalSize("just", "m2", 16, 15, _ELLIS),
    IntervalSize("just", "M2", 9, 8, _ELLIS),
    IntervalSize("just", "A2", 75, 64, _ELLIS),
    IntervalSize("just", "m3", 6, 5, _ELLIS),
    IntervalSize("just", "M3", 5, 4, _ELLIS),
    IntervalSize("just", "d4", 32, 25, _ELLIS),
    IntervalSize("just", "P4", 4, 3, _ELLIS),
    IntervalSize("just", "A4", 45, 32, _ELLIS),
    IntervalSize("just", "d5", 64, 45, _ELLIS),
    IntervalSize("just", "P5", 3, 2, _ELLIS),
    IntervalSize("just", "A5", 25, 16, _ELLIS),
    IntervalSize("just", "m6", 8, 5, _ELLIS),
    IntervalSize("just", "M6", 5, 3, _ELLIS),
    IntervalSize("just", "m7", 9, 5, _ELLIS),
    IntervalSize("just", "M7", 15, 8, _ELLIS),
    IntervalSize("just", "P8", 2, 1, _ELLIS),
)

PYTHAGOREAN: Final = {row.interval: row for row in _PYTHAGOREAN_ROWS}
"""Pythagorean sizes by interval name. The function computes them; this table checks it."""

JUST: Final = {row.interval: row for row in _JUST_ROWS}
"""Five-limit just sizes by interval name: the one size this program uses for each."""

JUST_ALTERNATIVES: Final = (
    IntervalSize("just", "A1", 25, 24, _SUM + ": 10/9 over 16/15"),
    IntervalSize("just", "m2", 27, 25, _SUM + ": 9/8 over 25/24"),
    IntervalSize("just", "M2", 10, 9, _SUM + ": 5/4 over 9/8"),
    IntervalSize("just", "P5", 40, 27, _SUM + ": 5/3 over 9/8"),
)
"""Other five-limit sizes of the same intervals, which other places of a just scale give."""

SYNTONIC_COMMA: Final = Fraction(81, 80)
"""Four pure fifths over two octaves and a pure major third: the whole conflict between the two
systems, and between the open E and the E that is a pure sixth over open G."""

PYTHAGOREAN_COMMA: Final = Fraction(531441, 524288)
"""Twelve pure fifths over seven octaves: between D sharp and E flat in the chain of fifths."""

SCHISMA: Final = Fraction(32805, 32768)
"""The Pythagorean comma over the syntonic one."""

DIASCHISMA: Final = Fraction(2048, 2025)
"""The syntonic comma over the schisma."""
