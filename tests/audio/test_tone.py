from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.audio.tone import (
    HIGHEST_HZ,
    HIGHEST_RATE,
    LOWEST_HZ,
    LOWEST_RATE,
    PARTIALS,
    amplitudes,
    fade,
    peak,
    steady,
)
from skeleton.errors import OptionError

RATE = 44100
frequencies_hz = st.floats(LOWEST_HZ, HIGHEST_HZ)


def summed(hz: float, rate: int, first: int, count: int) -> np.ndarray:
    """The tone straight from its definition: a sum of sines, in exact whole-number phases."""
    samples = np.arange(first, first + count)
    total = np.zeros(count)
    for number, height in enumerate(amplitudes(hz, rate), start=1):
        total += height * np.sin(2 * np.pi * np.mod(samples * (number * hz / rate), 1.0))
    return total


@pytest.mark.parametrize("hz", [65.2, 195.5555, 440.0, 1320.0, 4999.0])
def test_the_table_is_the_sum_of_sines_within_100_db(hz):
    difference = steady(hz, RATE, 12345, 8192) - summed(hz, RATE, 12345, 8192)
    assert 20 * math.log10(np.sqrt(np.mean(difference**2))) < -100


@given(hz=frequencies_hz, cut=st.integers(1, 999))
def test_blocks_join_without_a_seam(hz, cut):
    whole = steady(hz, RATE, 5000, 1000)
    parts = np.concatenate([steady(hz, RATE, 5000, cut), steady(hz, RATE, 5000 + cut, 1000 - cut)])
    # Two roundings of a phase of thousands of cycles; the table is read in steps of 3e-5.
    assert np.abs(whole - parts).max() < 1e-7


@given(hz=frequencies_hz, rate=st.sampled_from([16000, 22050, 44100, 48000, 96000, 192000]))
def test_no_partial_reaches_half_the_sample_rate(hz, rate):
    heights = amplitudes(hz, rate)
    assert 1 <= len(heights) <= PARTIALS
    assert len(heights) == 1 or len(heights) * hz < 0.5 * rate


@given(hz=frequencies_hz)
def test_the_level_is_one_whatever_the_pitch(hz):
    heights = amplitudes(hz, RATE)
    assert math.isclose(float(np.sum(heights**2)) / 2, 1.0, rel_tol=1e-12)
    assert np.all(np.diff(heights) < 0)


def test_what_lies_over_half_the_sample_rate_does_not_fold_back():
    # One second of 4435 Hz at 16 kHz holds one partial; a second one would fold to 7130 Hz.
    spectrum = np.abs(np.fft.rfft(steady(4435.0, 16000, 0, 16000)))
    spectrum[4430:4441] = 0
    assert spectrum.max() < 1e-4 * 16000


@pytest.mark.parametrize("minutes", [1, 30, 600])
def test_phase_does_not_drift(minutes):
    # 440 Hz fits 44100 samples a second 440 times: whatever the minute, the same second sounds.
    begin = minutes * 60 * RATE
    assert np.abs(steady(440.0, RATE, begin, RATE) - steady(440.0, RATE, 0, RATE)).max() < 1e-5


def test_shared_partials_of_a_fifth_are_in_phase():
    low, high = 880 / 3, 440.0
    seconds = 2
    count = RATE * seconds
    both = steady(low, RATE, 0, count) + steady(high, RATE, 0, count)
    spectrum = np.abs(np.fft.rfft(both)) / (count / 2)
    expected = amplitudes(low, RATE)[2] + amplitudes(high, RATE)[1]
    assert math.isclose(spectrum[880 * seconds], expected, rel_tol=1e-3)


def test_the_peak_is_the_largest_sample():
    assert math.isclose(
        np.abs(steady(441.0, RATE, 0, 44100)).max(), peak(441.0, RATE), rel_tol=0.02
    )
    assert np.abs(steady(440.3, RATE, 0, 441000)).max() <= peak(440.3, RATE) + 1e-9


def test_a_fade_is_the_half_of_a_raised_cosine():
    rise = fade(2205)
    assert 0 < rise[0] < 1e-6
    assert 1 - 1e-6 < rise[-1] < 1
    assert np.all(np.diff(rise) > 0)
    assert math.isclose(rise[1102], 0.5, abs_tol=1e-9)


@pytest.mark.parametrize("hz", [0.0, -440.0, LOWEST_HZ - 1, HIGHEST_HZ + 1, math.nan, math.inf])
def test_what_no_string_plays_is_refused(hz):
    with pytest.raises(OptionError, match="cannot be played"):
        steady(hz, RATE, 0, 10)


@pytest.mark.parametrize("rate", [0, -44100, LOWEST_RATE - 1, HIGHEST_RATE + 1])
def test_an_odd_rate_is_refused(rate):
    with pytest.raises(OptionError, match="sample rate"):
        steady(440.0, rate, 0, 10)
