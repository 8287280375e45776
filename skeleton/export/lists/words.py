"""How pitches, beats and places are said to a person.

Every function has two forms: plain ASCII (``F#4``, beat ``2.5``), for files and pipes that a
program may read, and with ``signs=True`` the signs of the trade (``F♯4``, beat ``2½``), for a
terminal or a page. Octave numbers are those of scientific pitch notation.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from skeleton.analysis.results import Anchor, Passage, Place, Rule
from skeleton.theory.interval import describe, short
from skeleton.theory.pitch import Pitch, PitchClass

RULES: Final[dict[Rule, str]] = {
    "second": "the second note of every slur",
    "first": "the first note of every slur",
    "last": "the last note of every slur",
    "pairs": "the second note of slurs of two",
    "on-beat": "the notes on the beat",
}
"""What each rule takes, in words."""

_VULGAR: Final = {
    Fraction(1, 2): "½",
    Fraction(1, 3): "⅓",
    Fraction(2, 3): "⅔",
    Fraction(1, 4): "¼",
    Fraction(3, 4): "¾",
    Fraction(1, 5): "⅕",
    Fraction(2, 5): "⅖",
    Fraction(3, 5): "⅗",
    Fraction(4, 5): "⅘",
    Fraction(1, 6): "⅙",
    Fraction(5, 6): "⅚",
    Fraction(1, 8): "⅛",
    Fraction(3, 8): "⅜",
    Fraction(5, 8): "⅝",
    Fraction(7, 8): "⅞",
}
_STEERING: Final = re.compile(
    "\r(?!\n)|[\0-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069]"
)
_SIGNS: Final = str.maketrans({"#": "♯", "b": "♭"})


def pitch_text(pitch: Pitch | PitchClass, *, signs: bool = False) -> str:
    """Return ``F#4`` or, with signs, ``F♯4``; a pitch class without its octave."""
    return str(pitch).translate(_SIGNS) if signs else str(pitch)


def pitches_text(pitches: Iterable[Pitch | PitchClass], *, signs: bool = False) -> str:
    """Return pitches with a space between them."""
    return " ".join(pitch_text(pitch, signs=signs) for pitch in pitches)


def anchor_text(anchor: Anchor | None, *, signs: bool = False) -> str:
    """Return how a note is tuned from its anchor: ``half step below G4``."""
    if anchor is None:
        return "no anchor"
    plain = str(anchor.place.pitch)
    text = describe(anchor.interval, anchor.place.pitch)
    return text.replace(plain, pitch_text(anchor.place.pitch, signs=True)) if signs else text


def short_text(anchor: Anchor) -> str:
    """Return the mark for engraving under a note: ``G−½``, ``C♯+1``."""
    return short(anchor.interval, anchor.place.pitch).translate(_SIGNS)


def beat_text(beat: Fraction, *, signs: bool = False) -> str:
    """Return a beat for a person: ``2``, ``2.5``, ``2 1/3``; with signs ``2½``, ``2⅓``.

    Binary parts down to a sixteenth of the beat are written as decimals, others as fractions,
    so nothing is rounded.
    """
    whole, part = divmod(beat, 1)
    if not part:
        return str(whole)
    if signs and part in _VULGAR:
        return f"{whole}{_VULGAR[part]}"
    if 16 % part.denominator == 0:
        return f"{float(beat):g}" if beat < 1000 else f"{whole} {part}"
    return f"{whole} {part}"


def place_text(place: Place, *, signs: bool = False) -> str:
    """Return where a note stands: ``measure 3 beat 2.5``."""
    return f"measure {one_line(place.measure)} beat {beat_text(place.beat, signs=signs)}"


def measures_text(passage: Passage) -> str:
    """Return a passage's measures: ``measures 1 to 8``, ``measure 5``."""
    first, last = one_line(passage.first_measure), one_line(passage.last_measure)
    return f"measure {first}" if first == last else f"measures {first} to {last}"


def listed(items: Iterable[object]) -> str:
    """Return items as a sentence lists them: ``4``, ``4 and 5``, ``3, 4 and 5``."""
    words = [str(item) for item in items]
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def counted(number: int, noun: str) -> str:
    """Return a number with its noun, with an s where it is not one: ``1 note``, ``3 notes``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def octaves_text(octaves: Iterable[int]) -> str:
    """Return ``octave 4`` or ``octaves 4 and 5``."""
    numbers = list(octaves)
    return f"octave{'s' if len(numbers) != 1 else ''} {listed(numbers)}"


def one_line(text: str) -> str:
    """Return a file's text on one line and without characters that steer what shows it.

    Titles and file names are whatever a file says; printed raw they could break a table or
    steer a terminal.
    """
    return without_controls(" ".join(text.split()))


def without_controls(text: str) -> str:
    """Return text with a replacement for each character that steers; line ends and tabs stay.

    Those are control characters, halves of surrogate pairs (bytes of a file name that are no
    text), and the bidirectional overrides, embeddings and isolates, which show letters in another
    order than they have (Unicode Technical Report 36, section 2.6).
    """
    return _STEERING.sub("\ufffd", text)
