"""What a take is judged against: the open strings as tuned for it, or the next best thing.

In this order: strings that were measured and given; strings played before the first note of the
take; else the height of the take's own notes, which can show notes that differ from the rest but
not that all of them are off. A report says which it was.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from skeleton.audio.pitch import pooled
from skeleton.audio.resample import Mono
from skeleton.audio.strings import open_strings, soundings
from skeleton.listening.measure import HeardNote
from skeleton.listening.note_targets import NoteTarget
from skeleton.theory.instrument import Instrument
from skeleton.theory.interval import between
from skeleton.theory.pitch import Pitch
from skeleton.theory.tuning import cents, pythagorean_ratio

Origin = Literal["given", "beginning", "notes"]

LEAST_BEFORE_S: Final = 1.5
"""Shorter beginnings are not searched for open strings."""

GIVEN_SE_CENTS: Final = 0.5
"""Standard error of strings that were given in Hz (the error of ``skeleton tuning`` on a quiet
recording is about that)."""


@dataclass(frozen=True, slots=True)
class TakeReference:
    """The strings a take is judged against.

    Attributes:
        strings: their names, low to high.
        hz: their frequencies.
        se_cents: standard error of each.
        heard: which of them were heard (or given); the others are pure fifths from these.
        origin: ``given``; heard at the ``beginning`` of the take; or worked out from its ``notes``.
    """

    strings: tuple[Pitch, ...]
    hz: tuple[float, ...]
    se_cents: tuple[float, ...]
    heard: tuple[bool, ...]
    origin: Origin

    def se_of(self, string: Pitch) -> float:
        """Standard error of one string, in cents."""
        return self.se_cents[self.strings.index(string)]


def given(instrument: Instrument, hz: Sequence[float]) -> TakeReference:
    """Return the reference of strings that were measured elsewhere, low to high."""
    count = len(instrument.open_strings)
    return TakeReference(
        instrument.open_strings, tuple(hz), (GIVEN_SE_CENTS,) * count, (True,) * count, "given"
    )


def from_beginning(
    samples: Mono, rate: int, instrument: Instrument, a4_hz: float
) -> TakeReference | None:
    """Return the strings as played in the samples before the first note; None where none was.

    Args:
        samples: the take up to its first note.
        rate: its samples a second.
        instrument: whose strings.
        a4_hz: about where its A4 is.
    """
    if len(samples) < LEAST_BEFORE_S * rate:
        return None
    found = open_strings(soundings(samples, rate, instrument, a4_hz), instrument)
    known = [(one.string, one.hz, one.se_cents) for one in found if one.hz is not None]
    if not known:
        return None
    hz, errors, heard = [], [], []
    for string in instrument.open_strings:
        near = min(known, key=lambda one: abs(float(one[0].midi - string.midi)))
        ratio = pythagorean_ratio(between(near[0], string))
        hz.append(near[1] * ratio.numerator / ratio.denominator)
        # Nobody tunes fifths pure to better than a cent or two (a choice of this program).
        errors.append(near[2] if near[0] == string else math.hypot(near[2], 1.5))
        heard.append(near[0] == string)
    return TakeReference(
        instrument.open_strings, tuple(hz), tuple(errors), tuple(heard), "beginning"
    )


def from_notes(
    heard: Sequence[HeardNote],
    targets: Mapping[str, NoteTarget],
    instrument: Instrument,
    strings_hz: Sequence[float],
) -> TakeReference:
    """Return pure strings at the height of the take's own notes.

    Notes that are named like open strings say where the strings are, if there are at least three;
    else all notes do.

    Args:
        heard: what was measured.
        targets: where it was to be, from ``strings_hz``.
        instrument: whose strings.
        strings_hz: the strings at the height that was expected, low to high.
    """
    sure = [one for one in heard if one.reason is None and one.hz is not None]
    fixed = [one for one in sure if targets[one.note].role == "fixed"]
    used = fixed if len(fixed) >= 3 else sure
    offset, error = pooled(
        [(cents(one.hz / targets[one.note].hz), max(one.se_cents, 3.0))
         for one in used if one.hz is not None] or [(0.0, 50.0)]
    )  # fmt: skip
    count = len(instrument.open_strings)
    return TakeReference(
        instrument.open_strings,
        tuple(hz * 2.0 ** (offset / 1200.0) for hz in strings_hz),
        (error,) * count,
        (False,) * count,
        "notes",
    )
