"""Which modes of which open strings a note shares, and which string a note lies on.

Where a note is stopped is not written: it is taken to be on the highest string that lies below it,
and what sounds like an open string may be that one or stopped on the one below.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from skeleton.audio.resonance import HIGHEST_HZ, Tone
from skeleton.intonation.ring import LISTEN_FROM_DB, answers
from skeleton.theory.pitch import Pitch
from skeleton.theory.strings import StringTuning
from skeleton.theory.tuning import cents

MOST_MODES: Final = 16

_PURE_CENTS: Final = 6.0
_APART_HZ: Final = 12.0
_APART_CENTS: Final = 35.0
_NEAR_STRING_CENTS: Final = 60.0


@dataclass(frozen=True, slots=True)
class Mode:
    """A mode of an open string that a note shares.

    Attributes:
        hz: where the string has it.
        number: which one, from 1.
        string: index of the string, from the lowest.
        partial: which partial of the note drives it.
    """

    hz: float
    number: int
    string: int
    partial: int


@lru_cache(maxsize=256)
def shared_modes(
    tuning: StringTuning, pitch: Pitch, target_hz: float
) -> tuple[tuple[Pitch, ...], tuple[Mode, ...]]:
    """Return the strings that should answer a note, strongest first, and the modes they share.

    Args:
        tuning: the open strings.
        pitch: the note, which says where it is usually stopped.
        target_hz: where it should sound to match its string.
    """
    strings: list[Pitch] = []
    found: list[Mode] = []
    for answer in answers(tuning, pitch, target_hz):
        if answer.strength_db < LISTEN_FROM_DB or abs(answer.off_cents) > _PURE_CENTS:
            continue
        index = tuning.instrument.open_strings.index(answer.string)
        strings.append(answer.string)
        for count in range(1, MOST_MODES // answer.ratio.numerator + 1):
            number = count * answer.ratio.numerator
            hz = number * tuning.hz[index]
            if hz <= HIGHEST_HZ:
                found.append(Mode(hz, number, index, count * answer.ratio.denominator))
    return tuple(strings), tuple(found)


def touches(hz: float, string_hz: float) -> bool:
    """Whether a frequency lies so near to a mode of a string that it may stir it."""
    mode = max(1, round(hz / string_hz)) * string_hz
    return abs(hz - mode) < _APART_HZ or abs(cents(hz / mode)) < _APART_CENTS


def may_hold(tone: Tone, string: int, tuning: StringTuning) -> bool:
    """Whether a tone may be played on a string: then the string is stopped and does not ring.

    Args:
        tone: what sounds; of one that is not known, anything may be.
        string: index of the string.
        tuning: the open strings.
    """
    if not tone.hz:
        return True
    for hz in tone.hz:
        below = [
            index
            for index, open_hz in enumerate(tuning.hz)
            if cents(hz / open_hz) > -_NEAR_STRING_CENTS
        ]
        on = below[-1] if below else 0
        # What sounds like an open string may be that, or stopped on the one below.
        doubtful = abs(cents(hz / tuning.hz[on])) < _NEAR_STRING_CENTS
        if string == on or (doubtful and string == on - 1):
            return True
    return False
