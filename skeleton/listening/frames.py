"""Stretches of sound round the frames of an analysis, a piece at a time: a take is never copied."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.audio.resample import Mono

PIECE: Final = 2048
"""Frames that are handed out together."""


def count(samples: Mono, hop: int) -> int:
    """Return how many frames a sound has, one every ``hop`` samples from its first on."""
    return len(samples) // hop + 1


def cuts(
    samples: Mono, hop: int, shift: int, length: int
) -> Iterator[tuple[int, NDArray[np.float32]]]:
    """Yield pieces: the index of the first frame, and by frame the samples of its stretch.

    Args:
        samples: one channel; before and after it there is silence.
        hop: samples from frame to frame; frame n stands at n times that.
        shift: where a stretch begins, from its frame.
        length: its samples.
    """
    frames = count(samples, hop)
    for first in range(0, frames, PIECE):
        number = min(PIECE, frames - first)
        begin = first * hop + shift
        end = begin + (number - 1) * hop + length
        inside = samples[max(0, begin) : max(0, end)]
        before = min(max(0, -begin), end - begin)
        padded = np.pad(inside, (before, end - begin - before - len(inside)))
        yield first, np.lib.stride_tricks.sliding_window_view(padded, length)[::hop]
