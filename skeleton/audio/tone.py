"""A steady tone like that of a bowed string, exactly in tune for as long as it sounds.

Spectrum
--------
A bowed string moves in a sawtooth (Helmholtz, *On the Sensations of Tone*, part I, chapter V),
whose partials fall as 1/n. Here the n-th partial of a tone of ``hz`` has the amplitude::

    (1/n) / sqrt(1 + (n * hz / 3000)^2)

for n up to 30 and ``n * hz`` up to 16 kHz and 0.45 of the sample rate: the sawtooth through a
gentle low-pass, so that high strings do not shrill. It is a choice of this program, no measured
instrument. Partials over the limit are left out before anything is sampled, so nothing folds back.

Phase
-----
Every partial is a sine that would be at phase 0 at sample 0 of the file, whenever the tone itself
begins. Three things follow. The value of a sample depends on its number alone, so blocks join
without a seam and nothing drifts. Partials that two tones have in common (the third of D4 and the
second of A4 in a pure fifth) add up and never beat or cancel. A tone has no vibrato and no noise.

The phase of sample i is ``hz * i / rate`` in 64-bit floats: after ten hours wrong by less than
1e-8 of a cycle. One cycle is read from a table of 32768 points with linear interpolation, whose
distortion lies more than 100 dB below the tone.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skeleton.errors import OptionError

Samples = NDArray[np.float64]
"""Samples of one channel; full scale is -1 to 1."""

PARTIALS: Final = 30
ROLL_OFF_HZ: Final = 3000.0
HIGHEST_PARTIAL_HZ: Final = 16000.0
HIGHEST_SHARE_OF_RATE: Final = 0.45

LOWEST_HZ: Final = 20.0
HIGHEST_HZ: Final = 5000.0
"""What can be asked for: from below the double bass to above the violin's last harmonic."""

LOWEST_RATE: Final = 16000
HIGHEST_RATE: Final = 192000

FADE_S: Final = 0.05
"""Length of onset and release: raised cosines."""

_TABLE: Final = 1 << 15


def check_hz(hz: float) -> float:
    """Return the frequency if a tone can have it.

    Raises:
        OptionError: it is not from 20 to 5000 Hz.
    """
    if not LOWEST_HZ <= hz <= HIGHEST_HZ:
        raise OptionError(
            f"{hz:g} Hz cannot be played; choose a pitch from {LOWEST_HZ:g} to {HIGHEST_HZ:g} Hz"
        )
    return float(hz)


def check_rate(rate: int) -> int:
    """Return the sample rate if sound can be made at it.

    Raises:
        OptionError: it is not from 16000 to 192000 samples a second.
    """
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise OptionError(
            f"no sample rate {rate}; choose one from {LOWEST_RATE} to {HIGHEST_RATE}, "
            "usually 44100 or 48000"
        )
    return rate


@lru_cache(maxsize=256)
def amplitudes(hz: float, rate: int) -> Samples:
    """Return the amplitudes of partials 1, 2, 3 ..., scaled so that the tone's RMS is 1.

    Args:
        hz: the fundamental.
        rate: samples a second; partials over 0.45 of it are left out.

    Raises:
        OptionError: frequency or rate is out of range.
    """
    limit = min(HIGHEST_PARTIAL_HZ, HIGHEST_SHARE_OF_RATE * check_rate(rate))
    count = max(1, min(PARTIALS, int(limit / check_hz(hz))))
    number = np.arange(1, count + 1, dtype=np.float64)
    relative = 1.0 / (number * np.sqrt(1.0 + (number * hz / ROLL_OFF_HZ) ** 2))
    scaled: Samples = relative / math.sqrt(float(np.sum(relative**2)) / 2.0)
    scaled.flags.writeable = False
    return scaled


def peak(hz: float, rate: int) -> float:
    """Return the largest sample value of the tone at an RMS of 1."""
    return float(np.abs(_cycle(hz, rate)[0]).max())


def steady(hz: float, rate: int, first: int, count: int) -> Samples:
    """Return samples ``first`` to ``first + count`` of the endless tone, at an RMS of 1.

    Raises:
        OptionError: frequency or rate is out of range.
    """
    values, slopes = _cycle(hz, rate)
    phase = np.arange(count, dtype=np.float64)
    phase *= hz / rate
    phase += math.fmod(hz * first / rate, 1.0)
    phase -= np.floor(phase)
    phase *= _TABLE
    # A phase a rounding error below 1 may give the table's length; its last entry is its first.
    index = phase.astype(np.int32)
    phase -= index
    samples: Samples = slopes.take(index)
    samples *= phase
    samples += values.take(index)
    return samples


def fade(count: int) -> Samples:
    """Return the rising half of a raised cosine in ``count`` samples, from just above 0 to 1."""
    return 0.5 - 0.5 * np.cos(np.pi * (np.arange(count, dtype=np.float64) + 0.5) / max(count, 1))


@lru_cache(maxsize=64)
def _cycle(hz: float, rate: int) -> tuple[Samples, Samples]:
    """One cycle as a table, with its first value once more at the end, and the steps in it."""
    partials = amplitudes(hz, rate)
    spectrum = np.zeros(_TABLE // 2 + 1, dtype=np.complex128)
    spectrum[1 : len(partials) + 1] = -0.5j * _TABLE * partials
    values = np.fft.irfft(spectrum, _TABLE)
    values = np.append(values, values[0])
    slopes = np.append(np.diff(values), values[1] - values[0])
    return values, slopes
