"""How high a take is tuned as a whole, found before single notes are asked about."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from skeleton.listening.events import ScoreEvent
from skeleton.listening.salience import STEP_CENTS, Salience
from skeleton.listening.semi_markov import Stretch

FARTHEST_CENTS: Final = 85.0
"""Readings of the tuning farther from the expected one are not tried."""

_HALF_STEP: Final = 100.0
_REACH_CENTS: Final = 80.0


def candidates_cents(found: Salience, events: Sequence[ScoreEvent]) -> list[float]:
    """Return how many cents above the score's targets the take may be tuned, likeliest first.

    The pitches of a take, folded into one half step, heap up at one place of it; which of the
    half steps is meant that place cannot say, so where it is far from 0 both are returned.

    Args:
        found: saliences of the take.
        events: the score; its own pitches are folded alike and taken off.
    """
    sure = found.peak > 0.5
    if not sure.any():
        return [0.0]
    values = found.values[sure]
    top = values.argmax(axis=1)
    inner = np.clip(top, 1, values.shape[1] - 2)
    rows = np.arange(len(inner))
    left, here, right = (values[rows, inner + step].astype(np.float64) for step in (-1, 0, 1))
    bend = left - 2.0 * here + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    heard = found.low_cents + STEP_CENTS * (inner + np.clip(shift, -0.5, 0.5))
    written = np.array([1200.0 * math.log2(hz) for event in events for hz in event.hz])
    turn = 2.0 * np.pi / _HALF_STEP
    angle = np.angle(np.exp(1j * turn * heard).mean() / np.exp(1j * turn * written).mean())
    place = float(angle) / turn
    near = [place + _HALF_STEP * step for step in (-1, 0, 1)]
    kept = sorted((one for one in near if abs(one) <= FARTHEST_CENTS), key=abs)
    return kept or [place]


def refined_cents(
    found: Salience, events: Sequence[ScoreEvent], stretches: Sequence[Stretch], near_cents: float
) -> float:
    """Return the tuning from notes that were found: the median of where each is most salient."""
    offsets = []
    for one in stretches:
        if one.kind != "note" or one.last - one.first < 5 or len(events[one.event].hz) != 1:
            continue
        hz = events[one.event].hz[0]
        low = found.column(hz, near_cents - _REACH_CENTS)
        high = found.column(hz, near_cents + _REACH_CENTS)
        inside = found.values[one.first + 1 : one.last, low : high + 1].astype(np.float64)
        total = inside.sum(axis=0)
        top = int(np.argmax(total))
        shift = 0.0
        if 0 < top < len(total) - 1:
            left, here, right = total[top - 1 : top + 2]
            bend = left - 2.0 * here + right
            shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
        cents = found.low_cents + STEP_CENTS * (low + top + shift) - 1200.0 * math.log2(hz)
        offsets.append(cents)
    return float(np.median(offsets)) if len(offsets) >= 3 else near_cents
