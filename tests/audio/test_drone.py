from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.audio.drone import IN_TUNE_CENTS, LONGEST_S, MOST_TONES, drone, drone_blocks
from skeleton.audio.tone import FADE_S, amplitudes, steady
from skeleton.errors import OptionError

RATE = 44100
STRINGS_HZ = (1760 / 9, 880 / 3, 440.0, 660.0)
"""G3 D4 A4 E5 in pure fifths from A4 = 440 Hz, exact."""

DRONE_TOLERANCE_CENTS = 0.2
LEVEL_TOLERANCE_DB = 0.1


def samples_of(hz, seconds, rate=RATE, *, loop=False):
    made = drone(hz, seconds, rate, loop=loop)
    return np.concatenate(list(drone_blocks(made)))


def rms_dbfs(samples):
    return 20 * math.log10(np.sqrt(np.mean(samples**2)))


def cents(hz, reference_hz):
    return 1200 * math.log2(hz / reference_hz)


@pytest.mark.parametrize(
    "hz", [41.2034, 65.1852, *STRINGS_HZ, 371.25, 556.875, 835.3125, 1485.0, 2640.0]
)
@pytest.mark.parametrize("loop", [False, True])
def test_in_tune_by_a_spectrum_and_by_praat(hz, loop, spectral_peak_hz, praat_hz):
    samples = samples_of([hz], 10, loop=loop)
    by_spectrum = spectral_peak_hz(samples, RATE, hz)
    assert abs(cents(by_spectrum, hz)) < (IN_TUNE_CENTS if loop else 0.01)
    part = samples[RATE : 3 * RATE]
    assert abs(cents(praat_hz(part, RATE, hz), hz)) < DRONE_TOLERANCE_CENTS


def test_every_tone_of_four_strings_is_in_tune(spectral_peak_hz):
    samples = samples_of(STRINGS_HZ, 10)
    for hz in STRINGS_HZ:
        # No other string has a partial within 2 % of these.
        assert abs(cents(spectral_peak_hz(samples, RATE, hz), hz)) < DRONE_TOLERANCE_CENTS


def envelope(samples, hz, rate=RATE, width_hz=6.0):
    """The strength of what sounds within a few Hz of a frequency, against time."""
    spectrum = np.fft.fft(samples)
    distance = np.fft.fftfreq(len(samples), 1 / rate) - hz
    spectrum[np.abs(distance) > 2 * width_hz] = 0
    spectrum *= np.exp(-0.5 * (distance / width_hz) ** 2)
    strength = np.abs(np.fft.ifft(spectrum))
    return strength[rate : len(samples) - rate]


PAIRS = [
    # Lower string in pure tuning, shared partial of a pure fifth above it, and the rate at which
    # 3 f_low - 2 f_high beats with an equal fifth there: 0.662, 0.993, 1.490 Hz.
    pytest.param(1760 / 9, 0.662, id="G-D"),
    pytest.param(880 / 3, 0.993, id="D-A"),
    pytest.param(440.0, 1.490, id="A-E"),
]


@pytest.mark.parametrize(("low_hz", "beats_hz"), PAIRS)
def test_a_pure_fifth_stands_still_and_a_tempered_one_beats(low_hz, beats_hz):
    pure = envelope(samples_of([low_hz, low_hz * 1.5], 30), 3 * low_hz)
    assert pure.std() / pure.mean() < 1e-3
    tempered = envelope(samples_of([low_hz, low_hz * 2 ** (7 / 12)], 30), 3 * low_hz)
    assert tempered.std() / tempered.mean() > 0.3
    swings = tempered - tempered.mean()
    spectrum = np.abs(np.fft.rfft(swings * np.hanning(len(swings)), 1 << 23))
    found_hz = np.argmax(spectrum) * RATE / (1 << 23)
    assert found_hz == pytest.approx(beats_hz, abs=0.005)


def test_a_fifth_does_not_drift_apart_in_half_an_hour():
    # The shared partial of D4 and A4 in the first and in the last second of thirty minutes.
    made = drone([880 / 3, 440.0], 1800, RATE)
    blocks = drone_blocks(made, block=RATE)
    kept = [block for second, block in enumerate(blocks) if second in (1, 1798)]
    strengths = [np.abs(np.fft.rfft(block))[880] for block in kept]
    expected = (amplitudes(880 / 3, RATE)[2] + amplitudes(440.0, RATE)[1]) * made.gain * RATE / 2
    assert strengths == pytest.approx([expected, expected], rel=1e-4)


@pytest.mark.parametrize("hz", [[440.0], STRINGS_HZ[1:3], STRINGS_HZ, [440.0, 880.0]])
def test_level_and_peak(hz):
    samples = samples_of(hz, 10)
    inside = samples[RATE // 10 : -RATE // 10]
    assert rms_dbfs(inside) == pytest.approx(-20.0, abs=LEVEL_TOLERANCE_DB)
    assert np.abs(samples).max() < 10 ** (-6 / 20)


def test_a_great_many_tones_are_softer_rather_than_too_high_in_peaks():
    hz = [110.0 * 2 ** (number / 7.3) for number in range(MOST_TONES)]
    made = drone(hz, 2, RATE)
    assert made.level_dbfs < -20.0
    assert np.abs(np.concatenate(list(drone_blocks(made)))).max() < 10 ** (-6 / 20)


def test_it_fades_in_and_out():
    samples = samples_of(STRINGS_HZ, 3)
    assert len(samples) == 3 * RATE
    assert abs(samples[0]) < 1e-4
    assert abs(samples[-1]) < 1e-4
    length = round(FADE_S * RATE)
    assert rms_dbfs(samples[: length // 5]) < -40
    assert rms_dbfs(samples[length : length * 5]) == pytest.approx(-20.0, abs=1.0)


@settings(max_examples=60, deadline=None)
@given(
    hz=st.lists(st.floats(60, 2000), min_size=1, max_size=3),
    seconds=st.floats(20, 120),
    rate=st.sampled_from([22050, 44100, 48000]),
)
def test_a_loop_fits_every_tone_and_says_so_where_it_cannot(hz, seconds, rate):
    try:
        made = drone(hz, seconds, rate, loop=True)
    except OptionError as error:
        assert "too short" in str(error)  # noqa: PT017 - either end is right
        return
    assert abs(made.seconds - seconds) <= 0.5 + 1 / rate
    for wanted, fitted in zip(dict.fromkeys(hz), made.hz, strict=True):
        assert abs(cents(fitted, wanted)) <= IN_TUNE_CENTS
        cycles = fitted * made.samples / rate
        assert abs(cycles - round(cycles)) < 1e-6


@pytest.mark.parametrize("seconds", [1, 5, 60])
def test_a_loop_of_strings_keeps_its_fifths_exact(seconds):
    made = drone(STRINGS_HZ, seconds, RATE, loop=True)
    for low, high in zip(made.hz, made.hz[1:], strict=False):
        assert high / low == pytest.approx(1.5, rel=1e-14)


@pytest.mark.parametrize(
    "hz", [[440.0], STRINGS_HZ, [440 * 2 ** (-7 / 12), 440.0], [65.1852, 97.7778]]
)
def test_a_loop_goes_on_where_it_left_off(hz):
    """Over the join, value, slope and bend go on as one more stretch of the same sound would."""
    made = drone(hz, 5, RATE, loop=True)
    once = np.concatenate(list(drone_blocks(made)))
    around = np.concatenate([once[-1000:], once[:1000]])
    straight = np.concatenate(list(drone_blocks(made)))[:2000]
    longer = np.zeros(2000)
    for one in made.hz:
        longer += made.gain * steady(one, RATE, made.samples - 1000, 2000)
    assert np.abs(around - longer).max() < 1e-7
    for order in (1, 2):
        inside = np.abs(np.diff(straight, order)).max()
        assert np.abs(np.diff(around, order))[980:1020].max() <= 1.2 * inside


@pytest.mark.parametrize(
    ("hz", "seconds", "words"),
    [
        ([], 10, "pitches for a drone"),
        ([440.0 + one for one in range(MOST_TONES + 1)], 10, "pitches for a drone"),
        ([440.0], 0.1, "seconds"),
        ([440.0], LONGEST_S + 1, "seconds"),
        ([440.0], math.nan, "seconds"),
        ([9.0], 10, "cannot be played"),
    ],
)
def test_what_cannot_be_is_refused(hz, seconds, words):
    with pytest.raises(OptionError, match=words):
        drone(hz, seconds, RATE)


def test_a_loop_too_short_for_its_pitches_is_refused():
    with pytest.raises(OptionError, match="give more --seconds"):
        drone([65.4064, 77.7817, 92.4986, 110.0, 130.81], 0.6, RATE, loop=True)


def test_a_pitch_that_is_given_twice_sounds_once():
    assert drone([440.0, 440.0], 1, RATE) == drone([440.0], 1, RATE)
