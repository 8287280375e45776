"""How strongly each pitch sounds at each moment: the front end of the alignment.

A frame's spectrum is compared with a narrow comb for every candidate pitch: lobes no wider than a
partial looks in the frame, at the first ten partials, and negative ones half way between them. So
an octave above fails by what lies between its partials, an octave below by partials it lacks.
Amplitudes are compressed (power 0.6), which lets ten partials say more than the strongest one, and
both sides are scaled to unit length; a salience of 1 is a perfect likeness whatever the loudness.

Measured on synthetic tones of 80 to 400 ms in a room of 0.8 s through a phone's microphone: the
highest salience lies within 60 cents of the note in 99.6 % of frames, at 0.6 to 0.9; where nothing
sounds it is under 0.3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.audio.resample import Mono
from skeleton.listening.frames import count as frame_count
from skeleton.listening.frames import cuts
from skeleton.listening.onsets import onsets

Floats = NDArray[np.float32]

HOP: Final = 320
"""Samples from frame to frame: 14.5 ms at 22,050 a second."""

STEP_CENTS: Final = 20.0
"""Distance of candidate pitches."""

_WINDOW_S: Final = 0.05
_TOP_HZ: Final = 5200.0
_PARTIALS: Final = 10
_POWER: Final = 0.6
_BETWEEN: Final = 0.6
LOBE_HZ: Final = 12.0
"""How wide a partial is looked for, as a standard deviation; the higher ones a little wider."""

_LOBE_SHARE: Final = 0.004
_LEAST_COMB: Final = 1e-3
"""Candidates over the band that is looked at have less, and no salience."""


@dataclass(frozen=True, slots=True)
class Salience:
    """Salience of pitches against time.

    Attributes:
        values: by frame and candidate, in 255ths of 1.
        peak: the highest of each frame, 0 to 1.
        level_db: loudness of each frame in dB of full scale.
        onset: how much each frame looks like the beginning of a note, 0 to 1.
        low_cents: the lowest candidate, in cents above 1 Hz; the others follow in steps of
            :data:`STEP_CENTS`.
        hop_s: seconds from frame to frame; frame n is centred at n times that.
    """

    values: NDArray[np.uint8]
    peak: Floats
    level_db: Floats
    onset: Floats
    low_cents: float
    hop_s: float

    def column(self, hz: float, cents: float = 0.0) -> int:
        """Return the candidate next to a pitch, kept inside the range."""
        place = (1200.0 * math.log2(hz) + cents - self.low_cents) / STEP_CENTS
        return min(max(round(place), 0), int(self.values.shape[1]) - 1)

    def near(self, hz: float, cents: float, reach_cents: float) -> Floats:
        """Return, by frame, the highest salience within reach of a pitch, 0 to 1."""
        low = self.column(hz, cents - reach_cents)
        high = self.column(hz, cents + reach_cents)
        found: Floats = self.values[:, low : high + 1].max(axis=1).astype(np.float32) / 255.0
        return found


def salience(samples: Mono, rate: int, low_hz: float, high_hz: float) -> Salience:
    """Return the salience of all pitches from one to another.

    Args:
        samples: one channel.
        rate: its samples a second.
        low_hz: the lowest pitch that may sound.
        high_hz: the highest.
    """
    length = 2 * round(_WINDOW_S * rate / 2)
    size = 4096 if rate <= 32000 else 8192
    bin_hz = rate / size
    bins = int(min(_TOP_HZ, 0.45 * rate) / bin_hz)
    low_cents = 1200.0 * math.log2(low_hz)
    count = int((1200.0 * math.log2(high_hz) - low_cents) / STEP_CENTS) + 1
    hz = np.exp2((low_cents + STEP_CENTS * np.arange(count)) / 1200.0)
    combs = _combs(hz, bin_hz, bins)
    window = np.hanning(length + 2)[1:-1].astype(np.float32)
    frames = frame_count(samples, HOP)
    values = np.empty((frames, count), np.uint8)
    peak = np.empty(frames, np.float32)
    level = np.empty(frames, np.float32)
    for first, cut in cuts(samples, HOP, -(length // 2), length):
        piece = cut * window
        spectrum = np.abs(np.fft.rfft(piece, size)[:, :bins]).astype(np.float32)
        power = np.einsum("ij,ij->i", piece, piece) / (length * 0.375)
        level[first : first + len(piece)] = 10.0 * np.log10(np.maximum(power, 1e-12))
        spectrum **= _POWER
        norm = np.sqrt(np.einsum("ij,ij->i", spectrum, spectrum)) + 1e-6
        likeness = np.clip((spectrum @ combs) / norm[:, None], 0.0, 1.0)
        peak[first : first + len(piece)] = likeness.max(axis=1)
        values[first : first + len(piece)] = np.round(likeness * 255.0)
    return Salience(values, peak, level, onsets(samples, rate, HOP), low_cents, HOP / rate)


def _combs(hz: NDArray[np.float64], bin_hz: float, bins: int) -> Floats:
    """Combs by bin and candidate; positive parts have unit length."""
    at = np.arange(bins) * bin_hz
    combs = np.empty((bins, len(hz)), np.float32)
    for place, one in enumerate(hz):
        count = max(1, min(_PARTIALS, int(bins * bin_hz / one)))
        teeth = np.zeros(bins)
        gaps = np.zeros(bins)
        for k in range(count + 1):
            width = LOBE_HZ + _LOBE_SHARE * k * one
            if k:
                teeth += k**-0.5 * np.exp(-0.5 * ((at - k * one) / width) ** 2)
            gaps += (k + 1) ** -0.5 * np.exp(-0.5 * ((at - (k + 0.5) * one) / width) ** 2)
        combs[:, place] = (teeth - _BETWEEN * gaps) / math.sqrt(
            max(float((teeth**2).sum()), _LEAST_COMB)
        )
    return combs
