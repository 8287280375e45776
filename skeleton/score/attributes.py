"""Key, metre, clef and transposition: the children of an ``<attributes>`` element.

Each function takes one element and returns plain data, or None where the element says
nothing that can be used.

Source: MusicXML 4.0, ``attributes`` and its children.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import Final

from skeleton.score.model import ClefChange, Key, Metre, Transposition
from skeleton.score.notes import number, whole
from skeleton.score.tree import Element

FREE: Final = Metre((4,), 4, senza_misura=True)
"""Music without a metre, or of which none is known: counted in quarters."""

_SHARPS: Final = "FCGDAEB"
_LARGEST_METRE: Final = 4096

_LETTERS_OF_HALF_STEPS: Final = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
"""Letters that an interval of so many half steps usually spans (common practice, no source)."""


def staff_of(element: Element) -> int | None:
    """Return the staff that a key, metre or transposition is for; None for all staves."""
    return whole(element.get("number"))


def read_key(element: Element) -> Key | None:
    """Read a ``<key>``: by fifths, or letter by letter."""
    fifths = whole(element.findtext("fifths"))
    mode = (element.findtext("mode") or "").strip() or None
    if fifths is not None:
        return key_of_fifths(fifths, mode) if abs(fifths) <= 14 else None
    alters: list[tuple[str, int | Fraction]] = []
    step = None
    for child in element:
        if child.tag == "key-step":
            step = (child.text or "").strip().upper()
        elif child.tag == "key-alter":
            alter = number(child.text)
            if step and step in _SHARPS and alter is not None:
                alters.append((step, alter))
            step = None
    return Key(None, tuple(alters), mode) if alters else None


@lru_cache(maxsize=256)
def key_of_fifths(fifths: int, mode: str | None = None) -> Key:
    """Return the usual signature of so many sharps, or flats where negative; at most 14."""
    order = _SHARPS if fifths > 0 else _SHARPS[::-1]
    sign = 1 if fifths > 0 else -1
    twice = max(abs(fifths) - 7, 0)
    return Key(
        fifths,
        tuple(
            (step, sign * (2 if place < twice else 1))
            for place, step in enumerate(order[: min(abs(fifths), 7)])
        ),
        mode,
    )


def read_metre(element: Element) -> Metre | None:
    """Read a ``<time>``: one fraction or several, sums, or no metre at all.

    Several fractions (2/4 + 3/8) become groups over their common beat type (4+3 over 8). What
    an ``<interchangeable>`` adds is the same length in other words, and is left out.
    """
    pairs: list[tuple[tuple[int, ...], int]] = []
    groups: tuple[int, ...] | None = None
    for child in element:
        tag = child.tag
        if tag == "senza-misura":
            return FREE
        if tag == "beats":
            groups = _groups(child.text)
        elif tag == "beat-type":
            beat_type = whole(child.text)
            if groups is None or beat_type is None or not 0 < beat_type <= 1024:
                return None
            pairs.append((groups, beat_type))
            groups = None
    if not pairs:
        return None
    common = lcm(*(beat_type for _, beat_type in pairs))
    sums = [beats * common // beat_type for groups, beat_type in pairs for beats in groups]
    if common > _LARGEST_METRE or sum(sums) > _LARGEST_METRE:
        return None
    return Metre(tuple(sums), common)


def _groups(text: str | None) -> tuple[int, ...] | None:
    groups = []
    for part in (text or "").split("+"):
        beats = whole(part)
        if beats is None or not 0 < beats <= 1024:
            return None
        groups.append(beats)
    return tuple(groups)


def read_transposition(element: Element, onset_quarters: Fraction) -> Transposition | None:
    """Read a ``<transpose>``; octaves are counted into letters and half steps.

    ``<double>`` adds a second voice an octave away and leaves the first where it is. Where
    ``<diatonic>`` is missing, the usual spelling of the interval is taken.
    """
    chromatic = whole(element.findtext("chromatic"))
    if chromatic is None or abs(chromatic) > 120:
        return None
    diatonic = whole(element.findtext("diatonic"))
    if diatonic is None or abs(diatonic) > 70:
        octaves, rest = divmod(abs(chromatic), 12)
        diatonic = 7 * octaves + _LETTERS_OF_HALF_STEPS[rest]
        diatonic = diatonic if chromatic >= 0 else -diatonic
    octave_change = whole(element.findtext("octave-change")) or 0
    if abs(octave_change) > 10:
        return None
    return Transposition(
        onset_quarters,
        staff_of(element),
        diatonic + 7 * octave_change,
        chromatic + 12 * octave_change,
    )


def read_clef(element: Element, onset_quarters: Fraction) -> ClefChange | None:
    """Read a ``<clef>``; without a number it is the first staff's."""
    sign = (element.findtext("sign") or "").strip()
    if not sign:
        return None
    return ClefChange(
        onset_quarters,
        staff_of(element) or 1,
        sign,
        whole(element.findtext("line")),
        whole(element.findtext("clef-octave-change")) or 0,
    )
