"""How high a note sounded, in cents from what was expected, and how sure that is.

The score says which note to look for; so no octave is guessed, and a note is measured where others
ring as well. What is measured is the pitch aimed at: the onset with its slide and the release are
left out, vibrato is averaged over its cycles (:mod:`skeleton.audio.vibrato`).

Uncertainty
-----------
``se_cents`` is one standard error; twice that is the U of a verdict. Its square adds up

* the scatter of the pitch curve about its centre over the number of independent values in it; a
  short note shows little of its scatter, so what bows usually do (1 cent) counts as two values;
* what the partials disagree among each other;
* a floor for what no scatter shows: the onset's slide that has not quite died, the grid;
* for vibrato what the fit leaves open, and where less than about a cycle was heard at least 5
  cents, for such a note has no defined centre; a part of a cycle that shows itself only as an
  unsteady pitch widens the error too, and what is known of the player's vibrato can be given;
* where a known neighbour rings over most partials, at least 5 cents.

The constants were set on synthetic tones with one half of the seeds of
``tests/benchmarks/test_pitch_accuracy.py`` and are checked there with the other half. Synthetic
tones are kinder than bows, rooms and phones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from skeleton.audio import partials
from skeleton.audio.partials import Curve, Refusal
from skeleton.audio.resample import Mono
from skeleton.audio.vibrato import Centre, Vibrato, centre
from skeleton.errors import OptionError

ONSET_SHARE: Final = 0.45
ONSET_S: Final = 0.08
"""The onset left out: not quite half of a note, at most 80 ms."""

MOVING_ONSET_SHARE: Final = 0.3
MOVING_ONSET_S: Final = 0.05
"""The same where the pitch moves."""

RELEASE_SHARE: Final = 0.12
"""The part at a note's end that is left out: at most 60 ms."""

RELEASE_S: Final = 0.06

SHORTEST_S: Final = 0.03

BOW_SCATTER_CENTS: Final = 1.0
MEMORY_S: Final = 0.11
FLOOR_CENTS: Final = 0.1

FEW_CYCLES: Final = 0.95
"""Real notes of 0.9 to 1.2 cycles were measured within 0.6 to 1.2 cents (fifteen notes of one
violin, cut into pieces)."""

FEW_CYCLES_SE_CENTS: Final = 5.0
RINGING_SE_CENTS: Final = 5.0

_SLIDE_CENTS: Final = 14.0
_SLIDE_TIME_S: Final = 0.015
_MOVING_CENTS: Final = 2.5
_PART_OF_A_SWING_S: Final = (0.12, 0.3)
"""Notes of this length may hold a part of a swing that their later half alone does not show."""

_USUAL_VIBRATO_HZ: Final = 5.5
_HIDDEN_CYCLES: Final = 1.2
"""A swing of fewer may be there and not be found."""


@dataclass(frozen=True, slots=True)
class Measured:
    """The pitch of one note.

    Attributes:
        hz: its pitch.
        cents: the same, from the expected pitch.
        se_cents: one standard error.
        vibrato: rate, extent and cycles, or None for a steady note.
        from_s: where the measured part begins, from the beginning of the samples.
        to_s: where it ends.
        scatter_cents: how unsteady the pitch was about its centre.
        partials: how many partials carry the result.
        level_dbfs: loudness of the measured part.
        ringing: whether a known neighbour covers most partials; then the value is not to be judged.
    """

    hz: float
    cents: float
    se_cents: float
    vibrato: Vibrato | None
    from_s: float
    to_s: float
    scatter_cents: float
    partials: int
    level_dbfs: float
    ringing: bool = False


@dataclass(frozen=True, slots=True)
class NotMeasured:
    """No pitch, and why.

    Attributes:
        reason: ``nothing`` of the note is there; what is there lies ``elsewhere``, out of the
            search; it is an octave above or below; or the stretch is ``too-short`` to tell.
        level_dbfs: loudness of the stretch, -120 where there was none to look at.
    """

    reason: Refusal
    level_dbfs: float


def measure(
    samples: Mono,
    rate: int,
    expected_hz: float,
    *,
    start_s: float = 0.0,
    end_s: float | None = None,
    search_cents: float = 80.0,
    also_hz: Sequence[float] = (),
    usual_vibrato_cents: float = 0.0,
    window_s: float = partials.WINDOW_S,
) -> Measured | NotMeasured:
    """Return the pitch of a note that sounds from one time to another.

    Args:
        samples: one channel; times count from its first sample.
        rate: its samples a second.
        expected_hz: where the note is expected, the take's own tuning included.
        start_s: the note's onset.
        end_s: its end; by default the end of the samples.
        search_cents: how far from the expected pitch it is looked for. Over 90 a neighbour that
            rings on may be taken for it.
        also_hz: pitches known to sound at the same time: a drone, the note before where a room
            rings, another string. What they cover is not used.
        usual_vibrato_cents: how far this player's vibrato swings to either side, where longer
            notes show one. A note too short to show it may be all crest; its error says so.
        window_s: length of a frame. Longer tells near neighbours apart in a long, steady note.

    Raises:
        OptionError: the expected pitch is no frequency between 20 Hz and a third of the rate.
    """
    if not 20.0 <= expected_hz <= rate / 3:
        raise OptionError(f"{expected_hz:g} Hz cannot be measured at {rate} samples a second")
    end = len(samples) / rate if end_s is None else min(end_s, len(samples) / rate)
    start = max(0.0, start_s)
    length = end - start
    if length < SHORTEST_S:
        return NotMeasured("too-short", -120.0)
    lead = min(ONSET_SHARE * length, ONSET_S)
    tail = min(RELEASE_SHARE * length, RELEASE_S)
    first, last = round((start + lead) * rate), round((end - tail) * rate)
    stretch = samples[first:last]
    # A pitch within reach of the expected one is the note itself, held on or doubled.
    others = tuple(one for one in also_hz if one > 0 and abs(_cents(one / expected_hz)) > 45.0)
    found = partials.curve(
        stretch,
        rate,
        expected_hz,
        search_cents=search_cents,
        avoid_hz=others,
        window_s=window_s,
    )
    if found.refusal is not None:
        return NotMeasured(found.refusal, found.level_dbfs)
    middle = _centre(found)
    moves = middle.scatter_cents > _MOVING_CENTS or middle.vibrato is not None
    if moves or _PART_OF_A_SWING_S[0] < length < _PART_OF_A_SWING_S[1]:
        # As many cycles as there are: more of the onset is let in.
        early = round((start + min(MOVING_ONSET_SHARE * length, MOVING_ONSET_S)) * rate)
        quick = partials.curve(
            samples[early:last],
            rate,
            expected_hz,
            search_cents=search_cents,
            avoid_hz=others,
            window_s=partials.QUICK_WINDOW_S,
        )
        if quick.refusal is None:
            again = _centre(quick)
            if moves or again.scatter_cents > _MOVING_CENTS or again.vibrato is not None:
                first, found, middle = early, quick, again
    ringing = _rings(expected_hz, others, found)
    se = _standard_error(found, middle, first / rate - start)
    if middle.vibrato is None and (last - first) / rate * _USUAL_VIBRATO_HZ < _HIDDEN_CYCLES:
        # Part of a swing looks like a pitch that does not hold still.
        se = math.hypot(se, 4.0 * max(0.0, middle.scatter_cents - 2.0 * BOW_SCATTER_CENTS))
        se = max(se, 0.6 * usual_vibrato_cents)
    if ringing:
        se = max(se, RINGING_SE_CENTS)
    return Measured(
        hz=expected_hz * math.exp2(middle.cents / 1200.0),
        cents=middle.cents,
        se_cents=se,
        vibrato=middle.vibrato,
        from_s=first / rate,
        to_s=last / rate,
        scatter_cents=middle.scatter_cents,
        partials=found.partials,
        level_dbfs=found.level_dbfs,
        ringing=ringing,
    )


def pooled(values: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the common value of several measurements of one thing and its standard error.

    Each counts by the inverse square of its own error. One that disagrees with the middle of the
    others loses weight (Huber at 2 standard errors); where they scatter more than their errors
    say, the result's error is that of the scatter (Birge 1932, Phys. Rev. 40, 207).

    Args:
        values: pairs of a value and its standard error (above 0), in cents; at least one.

    Raises:
        OptionError: there are none.
    """
    if not values:
        raise OptionError("no measurements to pool; measure at least one note")
    value = np.array([one for one, _ in values])
    error = np.array([max(one, 1e-6) for _, one in values])
    base = 1.0 / error**2
    middle = float(np.median(value))
    weights = base
    if len(values) >= 3:
        for _ in range(10):
            apart = np.abs(value - middle) / np.hypot(error, FLOOR_CENTS)
            weights = base * np.minimum(1.0, 2.0 / np.maximum(apart, 1e-9))
            middle = float((weights * value).sum() / weights.sum())
    else:
        middle = float((weights * value).sum() / weights.sum())
    inner = math.sqrt(1.0 / float(weights.sum()))
    if len(values) < 2:
        return middle, inner
    count = float(weights.sum() ** 2 / (weights**2).sum())
    outer = float((weights * (value - middle) ** 2).sum() / weights.sum())
    return middle, max(inner, math.sqrt(outer / max(count - 1.0, 1.0)))


def _centre(found: Curve) -> Centre:
    memory = max(MEMORY_S, 0.75 * found.window_s)
    return centre(found.time_s, found.cents, found.weight, memory)


def _standard_error(found: Curve, middle: Centre, lead_s: float) -> float:
    independent = 1.0 / middle.leverage
    usual = BOW_SCATTER_CENTS**2
    if middle.vibrato is None:
        seen = independent - 1.0
        scatter = (2.0 * usual + seen * middle.scatter_cents**2) / (2.0 + seen)
    else:
        scatter = max(middle.scatter_cents**2, usual)
    # What a slide of usual size has left on average over the measured part.
    left = _SLIDE_CENTS * math.exp(-lead_s / _SLIDE_TIME_S)
    length = max(found.window_s, float(found.time_s[-1] - found.time_s[0]) + found.window_s)
    slide = left * min(1.0, _SLIDE_TIME_S / length)
    se = math.sqrt(
        scatter * middle.leverage
        + found.between_cents**2
        + found.noise_cents**2 * middle.leverage
        + slide**2
        + FLOOR_CENTS**2
    )
    if middle.vibrato is not None:
        se = math.hypot(se, 0.02 * middle.vibrato.extent_cents)
        if middle.vibrato.cycles < FEW_CYCLES:
            se = max(se, FEW_CYCLES_SE_CENTS)
    return se


def _rings(hz: float, others: Sequence[float], found: Curve) -> bool:
    """Whether known neighbours lie nearer than the frames resolve on most usable partials."""
    if not others:
        return False
    count = max(found.partials, 3)
    covered = sum(
        any(abs(k * hz - max(1, round(k * hz / one)) * one) < 1.2 / found.window_s
            for one in others)
        for k in range(1, count + 1)
    )  # fmt: skip
    return covered > 0.7 * count


def _cents(ratio: float) -> float:
    return 1200.0 * math.log2(ratio)
