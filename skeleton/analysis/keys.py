"""Key signatures by name: reading "D major", naming what was read.

A signature is a count of fifths: sharps upward, flats downward, in the order in which they are
written (F C G D A E B, and back for flats). Church modes are read too; each is a fixed number of
fifths away from the major key on the same tonic (music theory, no single source).
"""

from __future__ import annotations

import re
from typing import Final

from skeleton.errors import OptionError
from skeleton.score.attributes import key_of_fifths
from skeleton.score.model import Key
from skeleton.theory.pitch import FIFTHS, PitchClass

SHARPS: Final = "FCGDAEB"
"""The letters in the order in which sharps are written; flats are written in reverse."""

_MODES: Final[dict[str, int]] = {
    "major": 0,
    "minor": -3,
    "ionian": 0,
    "dorian": -2,
    "phrygian": -4,
    "lydian": 1,
    "mixolydian": -1,
    "aeolian": -3,
    "locrian": -5,
}

_NAME: Final = re.compile(
    r"(?P<step>[A-Ga-g])\s*[- ]?\s*(?P<sign>#|b|sharp|flat)?\s*[- ]?\s*(?P<mode>m|[a-z]{5,})?",
    re.IGNORECASE,
)

_ADVICE: Final = 'write a key such as "D major", "e minor" or "Bb major", or -7 to 7 for its fifths'


def _signature(fifths: int, mode: str | None, text: object) -> Key:
    if not -7 <= fifths <= 7:
        raise OptionError(f"{text!r} is a key of more than seven signs; {_ADVICE}")
    return key_of_fifths(fifths, mode)


def parse_key(text: str | int) -> Key:
    """Read a key: "D major", "e minor", "Bb major", "F# minor", "D" for a major, "Dm" for a minor.

    Numbers, also as text, count fifths.

    Raises:
        OptionError: it is no key, or one of more than seven signs.
    """
    if isinstance(text, int):
        return _signature(text, None, text)
    words = text.strip()
    if re.fullmatch(r"[+-]?\d+", words):
        return _signature(int(words), None, text)
    match = _NAME.fullmatch(words)
    if match is None:
        raise OptionError(f"{text!r} is no key; {_ADVICE}")
    mode = (match["mode"] or "").lower()
    if not mode:
        if match["step"].islower():
            raise OptionError(f"{text!r} may be a major or a minor key; {_ADVICE}")
        mode = "major"
    mode = "minor" if mode == "m" else mode
    if mode not in _MODES:
        raise OptionError(f"{text!r}: {mode!r} is no mode; {_ADVICE}")
    sign = {"": 0, "#": 1, "sharp": 1, "b": -1, "flat": -1}[(match["sign"] or "").lower()]
    fifths = FIFTHS[match["step"].upper()] + 7 * sign + _MODES[mode]
    return _signature(fifths, mode, text)


def major_name(key: Key) -> str | None:
    """Name the major key of a signature ("D major"); None where it is no usual signature."""
    if key.fifths is None or not -7 <= key.fifths <= 7:
        return None
    # Place on the line of fifths: F is -1, so letters repeat every seven with one more sharp.
    alter, place = divmod(key.fifths + 1, 7)
    return f"{PitchClass(SHARPS[place], alter)} major"
