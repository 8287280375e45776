"""The pitch of every note of a take moment by moment, for looking at; nothing is judged by it.

What is judged leaves out onset and release (:mod:`skeleton.audio.pitch`); a curve shows them. It
counts in cents from where the note should have been: from the open string, from the anchor as
played, or from the note's target, as its verdict does. So one line is the aim of all notes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from skeleton.audio import partials
from skeleton.audio.background import without_drone
from skeleton.audio.partials import Array
from skeleton.audio.resample import Mono
from skeleton.listening.judge import JudgedNote, Limits, away_cents, lean_limits
from skeleton.listening.measure import SEARCH_CENTS
from skeleton.listening.note_targets import NoteTarget
from skeleton.listening.report import TakeReport

STEP_S: Final = 0.012
"""Time between two points of a curve: seven on a fast swing of vibrato."""

MOST_POINTS: Final = 240
"""Points of one note; a note longer than three seconds has them farther apart."""

_RINGS_ON_S: Final = 0.06


@dataclass(frozen=True, slots=True, eq=False)
class NoteCurve:
    """The pitch of one playing of one note.

    Attributes:
        judged: the playing, as judged by itself.
        time_s: times of the points, from the beginning of the take; none where nothing was found.
        cents: above where the note should be; not a number where the note is not heard.
        away_cents: the value that was judged, on the same scale, or None.
        low_cents: lower edge of its band.
        high_cents: upper edge.
    """

    judged: JudgedNote
    time_s: Array
    cents: Array
    away_cents: float | None
    low_cents: float
    high_cents: float


def pitch_curves(samples: Mono, rate: int, report: TakeReport) -> tuple[NoteCurve, ...]:
    """Return the curve of every playing of every note, in the order of ``report.attempts``.

    Args:
        samples: the take the report was made from.
        rate: its samples a second.
        report: the take judged.
    """
    samples, _ = without_drone(samples, rate)
    ratio = 2.0 ** (report.alignment.offset_cents / 1200.0)
    found = []
    before: JudgedNote | None = None
    sounding: tuple[float, ...] = ()
    ringing: tuple[float, ...] = ()
    for one in report.attempts:
        heard = one.heard[0]
        if before is None or before.heard[0].start_s != heard.start_s:
            close = before is not None and heard.start_s - before.heard[0].end_s <= _RINGS_ON_S
            ringing, sounding = (sounding if close else ()), ()
            before = one
        event = report.events[heard.event]
        target = report.targets[one.note]
        others = [hz * ratio for hz in (*event.hz, *event.held_hz) if hz != target.hz]
        sounding = (*sounding, heard.hz or target.hz * ratio)
        away = away_cents(one, target)
        aim_hz = target.hz if away is None or heard.hz is None else heard.hz / _ratio(away)
        time_s, cents = _curve(
            samples, rate, (heard.start_s, heard.end_s), target.hz * ratio, (*others, *ringing)
        )
        shift = 1200.0 * math.log2(target.hz * ratio / aim_hz)
        found.append(NoteCurve(one, time_s, cents + shift, away, *_band(target, report.limits)))
    return tuple(found)


def _band(target: NoteTarget, limits: Limits) -> tuple[float, float]:
    """Edges of what is in tune, from where the note should be."""
    if target.role == "fixed" and target.string is not None:
        return -limits.fixed_cents, limits.fixed_cents
    if target.lean_cents is not None and target.anchor is not None:
        edges = [one - target.lean_cents for one in lean_limits(target, limits)]
        sign = target.anchor.interval.sign or 1
        low, high = sorted(sign * one for one in edges)
        return low, high
    return min(target.low_cents, -limits.fixed_cents), max(target.high_cents, limits.fixed_cents)


def _curve(
    samples: Mono, rate: int, span_s: tuple[float, float], hz: float, others: Sequence[float]
) -> tuple[Array, Array]:
    """Points of one note: times, and cents above ``hz``."""
    start_s, end_s = span_s
    first = max(0, round(start_s * rate))
    made = partials.curve(
        samples[first : round(end_s * rate)],
        rate,
        hz,
        search_cents=SEARCH_CENTS,
        avoid_hz=[one for one in others if abs(1200.0 * math.log2(one / hz)) > SEARCH_CENTS / 2],
        window_s=partials.QUICK_WINDOW_S,
    )
    if made.refusal is not None or not len(made.time_s):
        return np.zeros(0), np.zeros(0)
    cents = np.where(made.weight > 0, made.cents, np.nan)
    every = max(round(STEP_S / partials.HOP_S), math.ceil(len(cents) / MOST_POINTS))
    # The middle of each handful: an average would draw lines across gaps.
    return made.time_s[every // 2 :: every] + first / rate, cents[every // 2 :: every]


def _ratio(cents: float) -> float:
    return math.exp2(cents / 1200.0)
