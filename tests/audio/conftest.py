"""Instruments that measure sound and owe nothing to the package: a spectrum, and Praat."""

from __future__ import annotations

from collections.abc import Callable
from types import ModuleType

import numpy as np
import pytest
from folders import helper


@pytest.fixture(scope="session")
def spectral_peak_hz() -> Callable[[np.ndarray, int, float], float]:
    """Return the function (samples, rate, near_hz) to the frequency of the spectral peak there.

    A Blackman window and a parabola through the logarithms of three bins: on a lone partial of ten
    seconds this is right to better than 0.001 cent.
    """

    def measure(samples: np.ndarray, rate: int, near_hz: float) -> float:
        size = 1 << (len(samples) - 1).bit_length() + 1
        spectrum = np.abs(np.fft.rfft(samples * np.blackman(len(samples)), size))
        middle = near_hz * size / rate
        low, high = int(middle * 0.98), int(middle * 1.02) + 2
        top = low + int(np.argmax(spectrum[low:high]))
        left, centre, right = np.log(spectrum[top - 1 : top + 2])
        return (top + 0.5 * (left - right) / (left - 2 * centre + right)) * rate / size

    return measure


@pytest.fixture(scope="session")
def praat_hz() -> Callable[[np.ndarray, int, float], float]:
    """Return the function (samples, rate, near_hz) to Praat's median pitch (autocorrelation)."""
    parselmouth = pytest.importorskip("parselmouth", reason="praat-parselmouth is not installed")

    def measure(samples: np.ndarray, rate: int, near_hz: float) -> float:
        sound = parselmouth.Sound(samples, sampling_frequency=float(rate))
        pitch = sound.to_pitch_ac(
            time_step=0.02,
            pitch_floor=max(near_hz / 1.5, 30.0),
            pitch_ceiling=near_hz * 1.5,
            very_accurate=True,
        )
        found = pitch.selected_array["frequency"]
        voiced = found[found > 0]
        assert len(voiced) > 0.8 * len(found), "Praat hears no pitch there"
        return float(np.median(voiced))

    return measure


@pytest.fixture(scope="session")
def tones() -> ModuleType:
    """The violin made of sines, whose pitch is known exactly (``violin_tones.py``)."""
    return helper("audio/violin_tones")


@pytest.fixture(scope="session")
def encoding() -> ModuleType:
    """What writes files as phones do (``encoding.py``)."""
    return helper("audio/encoding")
