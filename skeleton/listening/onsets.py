"""Where notes begin: what tells a note played again from a note that goes on.

Two short stretches of sound that touch at a frame are compared, in two ways. Their spectra: a bow
that attacks brings noise and lets partials come and go. Their waves, laid over each other at the
best lag: a string that is set going anew starts in a new phase, however alike its partials are
(the idea of Bello, Duxbury, Davies and Sandler, IEEE Signal Processing Letters 11(6), 2004, that
phase says what loudness does not; cited from memory). Both are held against what is usual around.

Measured on 469 equal notes that follow each other in made takes (four recording chains): where 5 %
of places inside notes pass, 97 % of these attacks do; of a spectrum over 50 ms alone, 40 %.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.audio.resample import Mono
from skeleton.listening.frames import count, cuts

Floats = NDArray[np.float32]

_SPECTRUM_S: Final = 0.0145
_SPECTRUM_BINS: Final = 160
_WAVE_S: Final = 0.0174
_LAG_S: Final = 0.0087
"""A whole period of the lowest note that is told apart so: 115 Hz; below it less of one."""

_USUAL_FRAMES: Final = 30
_ALONE_FRAMES: Final = 2
_LEAST_TOP: Final = 0.35
"""Takes with notes have 0.35 to 0.54 in one frame of fifty; a long tone alone has less, and what
moves in it is no onset."""

_FALL_DB: Final = 9.0
"""What falls so far within 60 ms ends."""

_NO_ONSET: Final = 0.1
_SURE: Final = 0.6
"""Of places inside notes 82 % lie under the first and 1 % over the second; of equal notes that
begin anew 0.6 % and 65 %."""


def onsets(samples: Mono, rate: int, hop: int) -> Floats:
    """Return, for each frame, how much it looks like the beginning of a note, 0 to 1.

    Only the highest frame of its surroundings counts: a smeared onset is worse than none.

    Args:
        samples: one channel.
        rate: its samples a second.
        hop: samples from frame to frame; frame n is centred at n times that.
    """
    frames = count(samples, hop)
    if frames < 5:
        return np.zeros(frames, np.float32)
    spectra = _over_usual(_spectral_change(samples, rate, hop, frames))
    waves = _over_usual(_wave_change(samples, rate, hop, frames))
    strength = np.clip((0.5 * (spectra + waves) - _NO_ONSET) / (_SURE - _NO_ONSET), 0.0, 1.0)
    strength *= _not_falling(samples, rate, hop, frames)
    reach = _ALONE_FRAMES
    near = np.lib.stride_tricks.sliding_window_view(np.pad(strength, reach), 2 * reach + 1)
    kept: Floats = np.where(strength >= near.max(axis=1), strength, 0.0).astype(np.float32)
    return kept


def _spectral_change(samples: Mono, rate: int, hop: int, frames: int) -> Floats:
    """Mean change of the logarithmic spectrum across each frame."""
    length = 2 * round(_SPECTRUM_S * rate / 2)
    size = 1 << (length - 1).bit_length()
    window = np.hanning(length + 2)[1:-1].astype(np.float32)
    change = np.zeros(frames, np.float32)
    last: Floats | None = None
    for first, cut in cuts(samples, hop, 0, length):
        spectrum = np.log1p(50.0 * np.abs(np.fft.rfft(cut * window, size)[:, :_SPECTRUM_BINS]))
        spectrum = spectrum.astype(np.float32)
        before = spectrum[:1] if last is None else last
        steps = np.abs(np.diff(np.concatenate([before, spectrum]), axis=0))
        change[first : first + len(spectrum)] = steps.mean(axis=1)
        last = spectrum[-1:]
    return change


def _wave_change(samples: Mono, rate: int, hop: int, frames: int) -> Floats:
    """One minus the likeness, at the best lag, of what lies before and after each frame."""
    length, lag = round(_WAVE_S * rate), round(_LAG_S * rate)
    size = 1 << (length + lag).bit_length()
    change = np.empty(frames, np.float32)
    earlier = cuts(samples, hop, -length - lag, length + lag)
    for (first, before), (_, after) in zip(earlier, cuts(samples, hop, 0, length), strict=True):
        products = np.fft.irfft(
            np.fft.rfft(before, size) * np.conj(np.fft.rfft(after, size)), size
        )[:, : lag + 1]
        power = np.cumsum(np.pad(before.astype(np.float64) ** 2, ((0, 0), (1, 0))), axis=1)
        within = power[:, length : length + lag + 1] - power[:, : lag + 1]
        own = np.einsum("ij,ij->i", after, after)[:, None]
        likeness = products / np.sqrt(np.maximum(within * own, 1e-12))
        change[first : first + len(before)] = 1.0 - likeness.max(axis=1)
    return change


def _not_falling(samples: Mono, rate: int, hop: int, frames: int) -> Floats:
    """0 where sound dies away, which changes a spectrum as much as a beginning does; else 1."""
    length = round(_SPECTRUM_S * rate)
    power = np.empty(frames, np.float32)
    for first, cut in cuts(samples, hop, 0, length):
        power[first : first + len(cut)] = np.einsum("ij,ij->i", cut, cut) / length
    level = 10.0 * np.log10(np.maximum(power, 1e-10))
    padded = np.pad(level, 3, mode="edge")
    before = 0.5 * (padded[:frames] + padded[1 : frames + 1])
    after = np.maximum(padded[4 : frames + 4], np.maximum(padded[5 : frames + 5], padded[6:]))
    kept: Floats = np.clip((after - before + _FALL_DB) / 4.0, 0.0, 1.0).astype(np.float32)
    return kept


def _over_usual(change: Floats) -> Floats:
    """What stands over the median of the surroundings; 1 is reached by one frame in fifty."""
    reach = _USUAL_FRAMES
    around = np.lib.stride_tricks.sliding_window_view(
        np.pad(change, reach, mode="edge"), 2 * reach + 1
    )
    over = change - np.median(around, axis=1)
    top = float(np.quantile(over, 0.98))
    scaled: Floats = (over / max(top, _LEAST_TOP)).astype(np.float32)
    return scaled
