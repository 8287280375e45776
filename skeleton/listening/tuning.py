"""How an instrument is tuned: its open strings as heard, against A4 and against each other.

Each string is held against its pure tuning from the A4 that was asked for, for that says which way
to turn its peg; against the pure tuning from its own A string, for an instrument may be in tune
with itself at another height; and against its neighbour, as a player hears it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from skeleton.audio.strings import OpenString
from skeleton.errors import OptionError
from skeleton.listening.verdict import Verdict, verdict
from skeleton.theory.instrument import Instrument, open_string_hz, string_named
from skeleton.theory.pitch import Pitch
from skeleton.theory.tuning import A4, DEFAULT_A4_HZ, cents, pythagorean_factor

STRING_TOLERANCE_CENTS: Final = 3.0
"""What an open string may be off: A and E 3 cents from their pure fifth beat 2.3 times a second
(3 * 440 Hz against 2 * 661.1 Hz), which can be heard. A choice of this program."""

LARGEST_TOLERANCE_CENTS: Final = 50.0

SEVERAL_CENTS: Final = 60.0
"""A string heard at two heights further apart than this was not turned: something else sounds."""

StringVerdict = Verdict | Literal["not heard"]


@dataclass(frozen=True, slots=True)
class StringState:
    """One string.

    Attributes:
        heard: what the recording holds of it.
        target_hz: its pure tuning from the A4 asked for.
        deviation_cents: how far above that it is; None where it was not heard.
        own_cents: how far above the pure tuning from the instrument's own A string; None where
            that or the string itself was not heard.
        u_cents: uncertainty of the first two, two standard errors; that of ``own_cents`` holds
            the A string's as well and is ``own_u_cents``.
        own_u_cents: see there.
        verdict: against the target.
    """

    heard: OpenString
    target_hz: float
    deviation_cents: float | None
    own_cents: float | None
    u_cents: float | None
    own_u_cents: float | None
    verdict: StringVerdict

    @property
    def string(self) -> Pitch:
        """Which string this is."""
        return self.heard.string

    @property
    def several(self) -> bool:
        """Whether it was heard at heights too far apart for a peg that is turned."""
        return _several(self.heard)


@dataclass(frozen=True, slots=True)
class PairState:
    """Two neighbouring strings.

    Attributes:
        low: the lower.
        high: the higher.
        size_cents: their interval; None where one was not heard.
        pure_cents: the same, pure.
        u_cents: uncertainty of the size, two standard errors.
        verdict: ``sharp`` stands for too wide, ``flat`` for too narrow.
    """

    low: Pitch
    high: Pitch
    size_cents: float | None
    pure_cents: float
    u_cents: float | None
    verdict: StringVerdict


@dataclass(frozen=True, slots=True)
class Tuning:
    """A whole instrument.

    Attributes:
        instrument: whose strings.
        a4_hz: what was asked for.
        own_a4_hz: the A4 that its own A string gives; None where that was not heard.
        tolerance_cents: what a string may be off.
        strings: low to high.
        pairs: low to high.
    """

    instrument: Instrument
    a4_hz: float
    own_a4_hz: float | None
    tolerance_cents: float
    strings: tuple[StringState, ...]
    pairs: tuple[PairState, ...]

    @property
    def strings_hz(self) -> tuple[float, ...] | None:
        """All strings as measured, low to high; None where one was not, or at several heights."""
        measured = tuple(
            one.heard.hz for one in self.strings if one.heard.hz is not None and not one.several
        )
        return measured if len(measured) == len(self.strings) else None

    @property
    def agrees_with_itself(self) -> bool:
        """Whether every string is in tune with the instrument's own A string."""
        return all(
            one.own_cents is not None
            and one.own_u_cents is not None
            and verdict(one.own_cents, one.own_u_cents, self.tolerance_cents) == "in tune"
            for one in self.strings
        )


def tuning(
    heard: Sequence[OpenString],
    instrument: Instrument,
    a4_hz: float = DEFAULT_A4_HZ,
    tolerance_cents: float = STRING_TOLERANCE_CENTS,
) -> Tuning:
    """Return how the strings that were heard are tuned.

    Args:
        heard: one for each string, low to high.
        instrument: whose strings they are.
        a4_hz: the A4 to tune to.
        tolerance_cents: what a string or a fifth may be off, above 0 and at most 50.

    Raises:
        OptionError: A4 or tolerance is out of range, or the strings are not the instrument's.
    """
    if not 0.0 < tolerance_cents <= LARGEST_TOLERANCE_CENTS:
        raise OptionError(
            f"no tolerance of {tolerance_cents:g} cents; give one above 0 and at most "
            f"{LARGEST_TOLERANCE_CENTS:g}, such as {STRING_TOLERANCE_CENTS:g}"
        )
    if tuple(one.string for one in heard) != instrument.open_strings:
        raise OptionError(f"these are not the strings of the {instrument.name}, low to high")
    targets = open_string_hz(instrument, a4_hz)
    reference = _own(heard, instrument)
    own_a4_hz = reference and reference[0]
    strings = tuple(
        _state(one, target, own_a4_hz and target * own_a4_hz / a4_hz, reference, tolerance_cents)
        for one, target in zip(heard, targets, strict=True)
    )
    pairs = tuple(_pair(low, high, tolerance_cents) for low, high in pairwise(heard))
    return Tuning(instrument, a4_hz, own_a4_hz, tolerance_cents, strings, pairs)


def _several(heard: OpenString) -> bool:
    return abs(heard.moved_cents) > SEVERAL_CENTS


def _own(heard: Sequence[OpenString], instrument: Instrument) -> tuple[float, OpenString] | None:
    """The A4 that the instrument's own A string gives, and that string."""
    string = string_named(instrument, A4)
    if string is None:
        return None
    found = heard[instrument.open_strings.index(string)]
    if found.hz is None:
        return None
    factor = pythagorean_factor(string)
    return found.hz * factor.denominator / factor.numerator, found


def _state(
    heard: OpenString,
    target_hz: float,
    own_hz: float | None,
    reference: tuple[float, OpenString] | None,
    tolerance_cents: float,
) -> StringState:
    if heard.hz is None:
        return StringState(heard, target_hz, None, None, None, None, "not heard")
    away = cents(heard.hz / target_hz)
    u = 2.0 * heard.se_cents
    own = own_u = None
    if own_hz is not None and reference is not None:
        own = cents(heard.hz / own_hz)
        same = reference[1] is heard
        own_u = 0.0 if same else 2.0 * math.hypot(heard.se_cents, reference[1].se_cents)
    said: StringVerdict = verdict(away, u, tolerance_cents)
    if _several(heard):
        said = "cannot tell"
    return StringState(heard, target_hz, away, own, u, own_u, said)


def _pair(low: OpenString, high: OpenString, tolerance_cents: float) -> PairState:
    factor = pythagorean_factor(high.string) / pythagorean_factor(low.string)
    pure = cents(factor)
    if low.hz is None or high.hz is None:
        return PairState(low.string, high.string, None, pure, None, "not heard")
    size = cents(high.hz / low.hz)
    u = 2.0 * math.hypot(low.se_cents, high.se_cents)
    said: StringVerdict = verdict(size - pure, u, tolerance_cents)
    if _several(low) or _several(high):
        said = "cannot tell"
    return PairState(low.string, high.string, size, pure, u, said)
