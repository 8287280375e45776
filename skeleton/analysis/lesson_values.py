"""Checks of single values in a lesson file: each takes what TOML gives and returns what is meant.

All raise :class:`~skeleton.errors.OptionError` with what is wrong and what to write instead; the
lesson reader adds the file and the key.
"""

from __future__ import annotations

import re
from difflib import get_close_matches
from fractions import Fraction
from typing import Final, Literal, TypeGuard, cast, get_args

from skeleton.analysis.fit import RULES
from skeleton.analysis.keys import parse_key
from skeleton.analysis.results import Rule
from skeleton.errors import OptionError
from skeleton.score.model import Key
from skeleton.theory import instrument as instruments
from skeleton.theory.instrument import Instrument
from skeleton.theory.pitch import Pitch, PitchClass, parse_pitch, parse_pitch_class

LOWEST_A4_HZ: Final = 380.0
HIGHEST_A4_HZ: Final = 480.0

LOWEST_LEAN_CENTS: Final = 20.0
HIGHEST_LEAN_CENTS: Final = 180.0
"""Beyond these a half step is no half step; what is wise lies much closer together."""

SLOWEST_TEMPO: Final = 10.0
FASTEST_TEMPO: Final = 400.0
"""Beats a minute between which a passage can be practised."""

StageName = Literal["bare", "neighbours", "all"]
"""The stages of work on a passage: skeleton, skeleton with accidentals, the etude as written."""

_LONGEST_TEXT: Final = 200
_LONGEST_ASSIGNMENT: Final = 2000
_RANGE: Final = re.compile(r"\s*([^\s\-\u2013]+)\s*(?:[-\u2013]\s*([^\s\-\u2013]+)\s*)?")
_BEAT: Final = re.compile(r"\s*(\d{1,6})(?:\s*/\s*(\d{1,6})|\.(\d{1,9}))?\s*")


def text(value: object) -> str:
    """Return a line of text without spaces around it; it must not be empty."""
    if not isinstance(value, str) or not value.strip():
        raise OptionError(f'{_shown(value)} is no text; write a few words in quotes, "..."')
    line = value.strip()
    if len(line) > _LONGEST_TEXT or not line.isprintable():
        raise OptionError(f"{_shown(value)} is too long or not one line; shorten it")
    return line


def paragraphs(value: object) -> str:
    """Return text of one or more lines, each without spaces around it; empty ones go."""
    if not isinstance(value, str) or not value.strip():
        raise OptionError(f'{_shown(value)} is no text; write it in quotes, "..."')
    lines = [line.strip() for line in value.splitlines() if line.strip()]
    if len(value) > _LONGEST_ASSIGNMENT:
        raise OptionError(
            f"{_shown(value)} is too long; keep it to {_LONGEST_ASSIGNMENT} characters"
        )
    if not all(line.expandtabs().isprintable() for line in lines):
        raise OptionError(f"{_shown(value)} holds characters that cannot be printed; remove them")
    return "\n".join(line.expandtabs(1) for line in lines)


def _is_number(value: object, lowest: float, highest: float) -> TypeGuard[int | float]:
    """Whether a value is a number in a range; true and false are none."""
    return (
        not isinstance(value, bool)
        and isinstance(value, int | float)
        and lowest <= value <= highest
    )


def tempo(value: object) -> float:
    """Return beats a minute, 10 to 400."""
    if not _is_number(value, SLOWEST_TEMPO, FASTEST_TEMPO):
        raise OptionError(
            f"{_shown(value)} is no tempo; write beats a minute, {SLOWEST_TEMPO:g} to "
            f"{FASTEST_TEMPO:g}"
        )
    return float(value)


def stage(value: object) -> StageName:
    """Return the name of a stage."""
    for name in get_args(StageName):
        if value == name:
            return cast("StageName", name)
    raise OptionError(f"{_shown(value)} is no stage; stages are {', '.join(get_args(StageName))}")


def flag(value: object) -> bool:
    """Return true or false."""
    if not isinstance(value, bool):
        raise OptionError(f"{_shown(value)} is neither true nor false; write one, without quotes")
    return value


def a4_hz(value: object) -> float:
    """Return a frequency of A4 in Hz, 380 to 480."""
    if not _is_number(value, LOWEST_A4_HZ, HIGHEST_A4_HZ):
        raise OptionError(
            f"{_shown(value)} is no frequency of A4; write one from {LOWEST_A4_HZ:g} to "
            f"{HIGHEST_A4_HZ:g} Hz, such as 440.0"
        )
    return float(value)


def rule(value: object) -> Rule:
    """Return the name of a skeleton rule."""
    if value not in RULES:
        close = get_close_matches(value, RULES, n=1) if isinstance(value, str) else []
        advice = f"did you mean {close[0]!r}? " if close else ""
        raise OptionError(f"{_shown(value)} is no rule; {advice}rules are {', '.join(RULES)}")
    return value


def key(value: object) -> Key:
    """Return a key signature: a name, or a number of fifths."""
    if isinstance(value, bool) or not isinstance(value, int | str) or len(str(value)) > 40:
        raise OptionError(f'{_shown(value)} is no key; write "D major", "e minor" or 2 for fifths')
    return parse_key(value)


def instrument_name(value: object) -> Instrument:
    """Return the instrument with this name."""
    name = text(value)
    try:
        return instruments.instrument(name)
    except OptionError:
        close = get_close_matches(name.lower(), instruments.INSTRUMENTS, n=1)
        if not close:
            raise
        raise OptionError(f"no instrument {name!r}; did you mean {close[0]!r}?") from None


def open_strings(value: object) -> tuple[Pitch, ...]:
    """Return open strings from a list of sounding pitches, low to high."""
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise OptionError(f'{_shown(value)} is no list of strings; write ["G3", "D4", "A4", "E5"]')
    return instruments.custom([parse_pitch(text(one)) for one in value]).open_strings


def measure(value: object) -> str:
    """Return a printed measure number."""
    number = str(value) if isinstance(value, int) and not isinstance(value, bool) else value
    if not isinstance(number, str) or not number.strip() or len(number) > _LONGEST_TEXT:
        raise OptionError(f'{_shown(value)} is no measure number; write it as printed: "12"')
    return number.strip()


def measures(value: object) -> tuple[str, str]:
    """Return the first and last printed measure number of "1-8" or "5"."""
    match = _RANGE.fullmatch(measure(value))
    if match is None:
        raise OptionError(
            f'{_shown(value)} is no range of measures; write "1-8", or "5" for one measure'
        )
    return match[1], match[2] or match[1]


def beat(value: object) -> Fraction:
    """Return a beat: a number from 1 up, also written as "4/3" or "2.5"."""
    written = repr(value) if isinstance(value, int | float) else value
    match = _BEAT.fullmatch(written) if isinstance(written, str) else None
    if match is not None and not (match[2] and int(match[2]) == 0):
        exact = Fraction(re.sub(r"\s", "", match[0]))
        if exact >= 1:
            return exact
    raise OptionError(f'{_shown(value)} is no beat; write a number from 1 up, or "4/3" for thirds')


def pitch_or_class(value: object) -> Pitch | PitchClass:
    """Return a pitch ("F#4"), or a note name for any octave ("F#")."""
    written = text(value)
    try:
        return parse_pitch(written)
    except OptionError as error:
        try:
            return parse_pitch_class(written)
        except OptionError:
            raise error from None


def pitch_class(value: object) -> PitchClass:
    """Return a note name that holds in every octave ("F#")."""
    written = text(value)
    try:
        return parse_pitch_class(written)
    except OptionError as error:
        try:
            name = parse_pitch(written).pitch_class
        except OptionError:
            raise error from None
        raise OptionError(
            f'{_shown(value)} names an octave, and this holds in every one; write "{name}"'
        ) from None


def lean_cents(value: object) -> float:
    """Return the size of a half step in cents, 20 to 180."""
    if not _is_number(value, LOWEST_LEAN_CENTS, HIGHEST_LEAN_CENTS):
        raise OptionError(
            f"{_shown(value)} is no half step in cents; write one from {LOWEST_LEAN_CENTS:g} to "
            f"{HIGHEST_LEAN_CENTS:g}, usually 80 to 114"
        )
    return float(value)


def _shown(value: object) -> str:
    shown = repr(value)
    return shown if len(shown) <= 40 else f"{shown[:37]}..."
