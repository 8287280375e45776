"""What a printed accidental says a note is, to compare with what the file sounds.

Source: MusicXML 4.0, ``accidental-value``. Only the signs that name one alteration are in the
table; arrows, slashes and the signs of other traditions are not judged.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from skeleton.score.model import Sign
from skeleton.theory.pitch import Pitch

ALTERATION: Final[dict[str, int | Fraction]] = {
    "sharp": 1,
    "natural": 0,
    "flat": -1,
    "double-sharp": 2,
    "sharp-sharp": 2,
    "flat-flat": -2,
    "natural-sharp": 1,
    "natural-flat": -1,
    "triple-sharp": 3,
    "triple-flat": -3,
    "quarter-sharp": Fraction(1, 2),
    "quarter-flat": Fraction(-1, 2),
    "three-quarters-sharp": Fraction(3, 2),
    "three-quarters-flat": Fraction(-3, 2),
}
"""Sign to half steps."""


def contradicts(sign: Sign, pitch: Pitch) -> bool:
    """Whether the sign names an alteration that is not the pitch's."""
    alter = ALTERATION.get(sign.name)
    return alter is not None and alter != pitch.alter
