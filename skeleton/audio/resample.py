"""From one sample rate to another, block by block, with no seam between the blocks.

A sample of the new rate is the old signal through a low-pass, read at the new sample's time:
a sinc under a Kaiser window (J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh
window function", 1974). For two whole rates the times fall on finitely many phases between old
samples, so every weight is exact and none is interpolated. Everything below 0.44 of the lower
rate passes unchanged within 0.01 dB; what would fold back to below that lies 80 dB down.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.errors import OptionError

Mono = NDArray[np.float32]
"""Samples of one channel; full scale is -1 to 1."""

LOWEST_RATE: Final = 4000
HIGHEST_RATE: Final = 768000

_HALF_WIDTH: Final = 24
"""Zero crossings of the sinc on either side."""

_PASS: Final = 0.94
"""Where the low-pass has fallen to a half, as a share of half the lower rate."""

_BETA: Final = 8.0
_PIECE: Final = 4096
"""New samples made at a time: bounds what is held at once."""


def resampled(blocks: Iterable[Mono], rate: int, new_rate: int) -> Iterator[Mono]:
    """Yield the signal at another rate. New sample n has the time n / new_rate of the old.

    Args:
        blocks: the signal, in blocks of any length.
        rate: its samples a second.
        new_rate: samples a second of what is yielded.

    Raises:
        OptionError: a rate is not from 4000 to 768000.
    """
    for one in (rate, new_rate):
        if not LOWEST_RATE <= one <= HIGHEST_RATE:
            raise OptionError(
                f"no sample rate {one}; it must be from {LOWEST_RATE} to {HIGHEST_RATE}"
            )
    return iter(blocks) if rate == new_rate else _resampled(blocks, rate, new_rate)


def _resampled(blocks: Iterable[Mono], rate: int, new_rate: int) -> Iterator[Mono]:
    shared = math.gcd(rate, new_rate)
    up, down = new_rate // shared, rate // shared
    kernel = _kernel(up, down)
    taps = kernel.shape[1]
    before = taps // 2 - 1
    held = np.zeros(before, dtype=np.float32)
    first = -before  # number of the old sample at held[0]
    made = received = 0
    for block in blocks:
        received += len(block)
        held = np.concatenate([held, block])
        # The last new sample whose taps all lie in what is held.
        ready = ((first + len(held) - taps + before + 1) * up - 1) // down + 1
        while made < ready:
            following = min(ready, made + _PIECE)
            wanted = range(made, following)
            yield _interpolated(held, first, wanted, up=up, down=down, kernel=kernel)
            made = following
        keep_from = made * down // up - before
        held = held[max(0, keep_from - first) :]
        first = max(first, keep_from)
    total = -(-received * up // down)
    held = np.concatenate([held, np.zeros(taps, dtype=np.float32)])
    while made < total:
        following = min(total, made + _PIECE)
        wanted = range(made, following)
        yield _interpolated(held, first, wanted, up=up, down=down, kernel=kernel)
        made = following


def _interpolated(
    held: Mono,
    first: int,
    wanted: range,
    *,
    up: int,
    down: int,
    kernel: Mono,
) -> Mono:
    before = kernel.shape[1] // 2 - 1
    time = np.arange(wanted.start, wanted.stop, dtype=np.int64) * down
    start = time // up - before - first
    windows = np.lib.stride_tricks.sliding_window_view(held, kernel.shape[1])
    made_now: Mono
    if up == 1:
        # Every new sample has the same phase and lies as far from the last: nothing is copied.
        made_now = np.einsum("ij,j->i", windows[start[0] :: down][: len(start)], kernel[0])
    else:
        made_now = np.einsum("ij,ij->i", windows[start], kernel[time % up])
    return made_now.astype(np.float32, copy=False)


def _kernel(up: int, down: int) -> Mono:
    """Weights of the old samples for each phase; row p reads at p / up after its middle."""
    scale = min(1.0, up / down) * _PASS
    reach = _HALF_WIDTH / scale
    half = math.ceil(reach)
    offset = np.arange(-half + 1, half + 1)[None, :] - np.arange(up)[:, None] / up
    window = np.i0(_BETA * np.sqrt(np.clip(1.0 - (offset / (half + 1)) ** 2, 0.0, None)))
    weights = np.sinc(offset * scale) * window
    weights /= weights.sum(axis=1, keepdims=True)
    kernel: Mono = weights.astype(np.float32)
    return kernel
