"""The range of cents in which a note is still that note, and who says so.

Two kinds, told apart by :attr:`Band.measured_from`:

* A half step is measured **from its anchor**: the size of the step in cents. Its edges are those
  of :data:`HALF_STEP_BANDS`.
* Any other note that is no open string's is measured **from equal temperament** of the same A4.
  Its band is the hull of the three systems: the chain of fifths, equal temperament, and the pure
  double stops with the open strings (or with the one string named as drone).

A band is advice. A lean chosen outside it is told, never forbidden.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

ROUNDING_CENTS: Final = 1e-6
"""What binary fractions may add to an edge."""

FIXED_TOLERANCE_CENTS: Final = 5.0
"""How far a measured open-string note may lie from its exact target and pass (common practice,
no source). A steady note is known to about 2 cents; that leaves 3, about where the answering
string has fallen to half its power at an assumed Q of 300."""


@dataclass(frozen=True, slots=True)
class Edge:
    """One end of a band: cents, and the system or study that gives it."""

    cents: float
    source: str


@dataclass(frozen=True, slots=True)
class Band:
    """A range of cents, its ends included, counted from the anchor or from equal temperament."""

    low: Edge
    high: Edge
    measured_from: Literal["anchor", "equal"]

    def holds(self, cents: float) -> bool:
        """Whether a value counted from the same place lies in the band."""
        return self.low.cents - ROUNDING_CENTS <= cents <= self.high.cents + ROUNDING_CENTS


HALF_STEP_BANDS: Final[dict[str, Band]] = {
    "m2": Band(
        Edge(
            80.0,
            "leading notes of six concertmasters averaged 80 to 90 cents "
            "(kmh.diva-portal.org diva2:1809897, abstract)",
        ),
        Edge(100.0, "equal temperament"),
        "anchor",
    ),
    "A1": Band(
        Edge(92.0, "just, 135/128 is 92.2 cents"),
        Edge(114.0, "Pythagorean, 2187/2048 is 113.7 cents"),
        "anchor",
    ),
}
"""The bands of both half steps, by interval name; edges are whole cents. The just diatonic half
step (16/15, 111.7 cents) is left out on purpose: it belongs to double stops, and students and
professionals alike play leading notes far narrower."""


def hull(values: Iterable[Edge]) -> Band:
    """Return the band from the lowest to the highest of several values above equal temperament.

    Of equal values the first one names the edge. There must be at least one.
    """
    found = list(values)
    low = high = found[0]
    for value in found[1:]:
        if value.cents < low.cents - ROUNDING_CENTS:
            low = value
        if value.cents > high.cents + ROUNDING_CENTS:
            high = value
    return Band(low, high, "equal")
