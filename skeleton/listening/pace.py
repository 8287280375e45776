"""How long notes last in a take: a pace for the whole, later one for each stretch of it.

A pace is seconds for a quarter note. Students slow down where it is hard, so a pace that holds
here says little about ten measures on.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.listening.events import ScoreEvent
from skeleton.listening.salience import STEP_CENTS, Floats, Salience

LONGEST_FRAMES: Final = 110
"""Durations up to 1.6 s are told apart; beyond that a note is held."""

_DEEPEST: Final = -10.0
_NEIGHBOURS: Final = 12


def rough_pace_s(found: Salience, voiced: Floats, events: Sequence[ScoreEvent]) -> float:
    """Return seconds a quarter, guessed from how long the pitch usually stays."""
    top = found.values.argmax(axis=1) * STEP_CENTS
    sounding = voiced > 0.5
    change = np.abs(np.diff(top)) > 70.0
    edges = np.flatnonzero(change | (sounding[1:] != sounding[:-1])) + 1
    bounds = np.concatenate([[0], edges, [len(top)]])
    length = np.diff(bounds)
    kept = length[(length >= 3) & sounding[bounds[:-1]]]
    # Runs of one pitch in the score, as the take shows them: repeated notes make one run.
    runs: list[float] = []
    previous: tuple[float, ...] = ()
    for event in events:
        if event.hz == previous and runs:
            runs[-1] += float(event.quarters)
        else:
            runs.append(float(event.quarters))
        previous = event.hz
    if not len(kept) or not runs:
        return 1.0
    # Means weighted by length: short wrong runs (slides, noise) count for little.
    heard = float((kept**2).sum() / kept.sum()) * found.hop_s
    array = np.array(runs)
    written = float((array**2).sum() / array.sum())
    return min(max(heard / written, 0.1), 8.0)


def duration_tables(
    events: Sequence[ScoreEvent], paces_s: Sequence[float], hop_s: float, spread: float
) -> Floats:
    """Return the log likelihood of durations, by pace, event and frames from 1.

    Args:
        events: the events.
        paces_s: seconds a quarter.
        hop_s: seconds a frame.
        spread: standard deviation of the logarithm of a duration.
    """
    quarters = np.array([float(event.quarters) for event in events])
    expected = np.outer(np.array(paces_s), quarters) / hop_s
    longest = int(min(LONGEST_FRAMES, max(8.0, 2.5 * float(expected.max(initial=8.0)))))
    frames = np.arange(1, longest + 1)
    wide = spread + np.where(np.array([event.grace for event in events]), 0.6, 0.0)
    # A frame more or less is the grid's.
    scale = np.hypot(wide[None, :], 1.2 / np.maximum(expected, 1.0))[:, :, None]
    ratio = np.log(frames[None, None, :] / np.maximum(expected[:, :, None], 1.5))
    table = np.maximum(-0.5 * (ratio / scale) ** 2, _DEEPEST)
    # The last column stands for all that is longer.
    table[:, :, -1] = np.where(expected >= longest, 0.0, table[:, :, -1])
    table[:, :, 0] = _DEEPEST - 3.0
    return np.asarray(table, np.float32)


def local_paces_s(
    middles_s: NDArray[np.float64], paces_s: NDArray[np.float64], at_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the pace at given times: the median of the nearest stretches.

    Args:
        middles_s: when each stretch sounded, rising.
        paces_s: its own pace.
        at_s: the times asked for.
    """
    if not len(middles_s):
        return np.ones(len(at_s))
    count = min(_NEIGHBOURS, len(middles_s))
    first = np.clip(np.searchsorted(middles_s, at_s) - count // 2, 0, len(middles_s) - count)
    near = np.median(np.lib.stride_tricks.sliding_window_view(paces_s, count), axis=1)
    return np.asarray(near[first])
