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
from skeleton.audio.strings import Sounding, open_strings
from skeleton.listening.events import ScoreEvent
from skeleton.listening.measure import HeardNote
from skeleton.listening.note_targets import NoteTarget
from skeleton.theory.instrument import Instrument, open_string_hz
from skeleton.theory.interval import between
from skeleton.theory.pitch import Pitch
from skeleton.theory.tuning import cents, pythagorean_ratio

Origin = Literal["given", "beginning", "notes"]

SEARCH_S: Final = 40.0
"""How much of a take's beginning is searched for open strings."""

LEAST_STRING_S: Final = 0.9
FEWEST_STRINGS: Final = 3

FIFTH_SE_CENTS: Final = 1.5
"""How far from pure a fifth may be that was not heard (a choice of this program)."""

_SAME_S: Final = 0.5
_SAME_CENTS: Final = 60.0
_NO_FIFTH_CENTS: Final = 100.0
"""What lies farther from a fifth to its neighbour is a note, not that string out of tune."""
_PAUSE_S: Final = 4.0

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


def strings_end_s(
    found: Sequence[Sounding], instrument: Instrument, events: Sequence[ScoreEvent]
) -> float:
    """Return when the open strings that begin a take have all been played, 0 where none were.

    They count as that where at least three different strings sound one after another, or two
    together, each a neighbour of one before, within a half step of where that one puts it, and at
    least a second long; a score that itself begins so is not taken for its own strings.

    Args:
        found: where open strings sound in the beginning of the take, in order of time.
        instrument: whose strings.
        events: the score.
    """
    strings = open_string_hz(instrument)
    starts = events[0].hz if events else ()
    opening = [place for place, one in enumerate(strings) if _holds(starts, one)]
    end_s = 0.0
    seen: list[int] = []
    last_hz: dict[int, float] = {}
    for run in _one_string_each(found):
        index = instrument.open_strings.index(run[0].string)
        near = not seen or any(abs(index - other) <= 1 for other in seen[-2:])
        length = run[-1].end_s - run[0].start_s
        if length < LEAST_STRING_S or not near or run[0].start_s - end_s > _PAUSE_S:
            break
        if index in seen and index in opening:
            break  # the music begins with a string that has been played: this is the music
        hz = run[-1].hz
        neighbours = [other for other in (index - 1, index + 1) if other in last_hz]
        if any(
            abs(cents(hz / last_hz[other] * strings[other] / strings[index])) > _NO_FIFTH_CENTS
            for other in neighbours
        ):
            break
        seen.append(index)
        last_hz[index] = hz
        end_s = max(end_s, run[-1].end_s)
    if len(set(seen)) < FEWEST_STRINGS:
        return 0.0
    same = sum(any(_holds(event.hz, one) for one in strings) for event in events[:FEWEST_STRINGS])
    return 0.0 if same >= FEWEST_STRINGS else end_s


def _one_string_each(found: Sequence[Sounding]) -> list[list[Sounding]]:
    """Stretches of one string at one pitch put together, by their beginnings."""
    runs: list[list[Sounding]] = []
    for one in found:
        # Two strings may sound together, so the one before the last may go on.
        for run in runs[-1:-3:-1]:
            last = run[-1]
            if (
                last.string == one.string
                and one.start_s - last.end_s < _SAME_S
                and abs(cents(one.hz / last.hz)) < _SAME_CENTS
            ):
                run.append(one)
                break
        else:
            runs.append([one])
    return runs


def _holds(hz: Sequence[float], string_hz: float) -> bool:
    return any(abs(cents(one / string_hz)) < _SAME_CENTS for one in hz)


def from_strings(found: Sequence[Sounding], instrument: Instrument) -> TakeReference | None:
    """Return the strings as they were played; None where none could be measured.

    Args:
        found: where open strings sound before the music begins.
        instrument: whose strings.
    """
    strings = open_strings(found, instrument)
    known = [(one.string, one.hz, one.se_cents) for one in strings if one.hz is not None]
    if not known:
        return None
    hz, errors, heard = [], [], []
    for string in instrument.open_strings:
        near = min(known, key=lambda one: abs(float(one[0].midi - string.midi)))
        ratio = pythagorean_ratio(between(near[0], string))
        hz.append(near[1] * ratio.numerator / ratio.denominator)
        errors.append(near[2] if near[0] == string else math.hypot(near[2], FIFTH_SE_CENTS))
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
