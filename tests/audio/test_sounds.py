from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.audio.sounds import CLICK_S, PEAK_DBFS, Sound, counted, headroom, render
from skeleton.audio.tone import FADE_S, fade, steady
from skeleton.errors import OptionError

RATE = 16000
PEAK = 10 ** (PEAK_DBFS / 20)


def mixed(sounds, end_s, rate=RATE, **settings_given):
    return np.concatenate(list(render(sounds, end_s, rate, **settings_given)))


sounds_given = st.lists(
    st.builds(
        lambda start, length, hz, level: Sound(start, start + length, hz, level),
        st.floats(0, 1.5),
        st.floats(0.001, 1.0),
        st.none() | st.floats(60, 3000),
        st.floats(-40, -6),
    ),
    max_size=12,
)


@settings(max_examples=40, deadline=None)
@given(sounds=sounds_given, block=st.integers(200, 5000))
def test_the_size_of_blocks_does_not_matter(sounds, block):
    whole = mixed(sounds, 2.0, block=1 << 20)
    assert len(whole) == 2 * RATE
    assert np.abs(whole - mixed(sounds, 2.0, block=block)).max() < 1e-7


@settings(max_examples=40, deadline=None)
@given(sounds=sounds_given)
def test_peaks_stay_under_six_db_below_full_scale(sounds):
    assert np.abs(mixed(sounds, 2.6)).max() <= PEAK
    assert 0 < headroom(sounds, RATE) <= 1


@settings(max_examples=40, deadline=None)
@given(sounds=sounds_given)
def test_silence_where_nothing_sounds(sounds):
    samples = mixed(sounds, 3.0)
    times = np.arange(len(samples)) / RATE
    quiet = np.ones(len(samples), dtype=bool)
    for one in sounds:
        end_s = one.start_s + CLICK_S if one.hz is None else one.end_s
        quiet &= (times < one.start_s - 1 / RATE) | (times > end_s + 1 / RATE)
    assert np.all(samples[quiet] == 0)


def test_a_tone_is_steady_between_its_fades():
    samples = mixed([Sound(0.1, 1.1, 440.0, -20.0)], 1.2, 44100)
    begin, end = 4410, round(1.1 * 44100)
    length = round(FADE_S * 44100)
    expected = 0.1 * steady(440.0, 44100, begin, end - begin)
    expected[:length] *= fade(length)
    expected[-length:] *= fade(length)[::-1]
    assert np.abs(samples[begin:end] - expected).max() < 1e-9
    middle = samples[begin + length : end - length]
    level_dbfs = 20 * math.log10(np.sqrt(np.mean(middle**2)))
    assert math.isclose(level_dbfs, -20.0, abs_tol=0.01)


@pytest.mark.parametrize("length_s", [0.02, 0.1, 0.21, 3.0])
def test_no_tone_begins_or_ends_with_a_click(length_s):
    """No step from sample to sample is larger than the steady tone's own, and the ends are 0."""
    samples = mixed([Sound(0.1, 0.1 + length_s, 330.0, -20.0)], 0.2 + length_s, 44100)
    own = np.abs(np.diff(0.1 * steady(330.0, 44100, 0, 44100))).max()
    assert np.abs(np.diff(samples)).max() <= own * 1.001
    begin, end = 4410, round((0.1 + length_s) * 44100)
    assert abs(samples[begin]) < 1e-3 * np.abs(samples).max()
    assert abs(samples[end - 1]) < 1e-3 * np.abs(samples).max()


def likeness(samples, rate):
    """How like itself a sound is after 1 to 50 ms, from 0 to 1: near 1 for a pitch."""
    together = np.correlate(samples, samples, "full")[len(samples) - 1 :]
    return np.abs(together[rate // 1000 : rate // 20]).max() / together[0]


def test_a_click_has_no_pitch():
    click = mixed([Sound(0.0, 0.0, None, -20.0)], CLICK_S, 44100)
    # 0.45 is where Praat's autocorrelation method begins to hear a voice.
    assert likeness(click, 44100) < 0.45
    dying = np.exp(-np.arange(len(click)) / (0.012 * 44100))
    assert likeness(steady(440.0, 44100, 0, len(click)) * dying, 44100) > 0.8


def test_clicks_are_alike():
    samples = mixed([Sound(0.0, 0.0, None, -20.0), Sound(0.5, 0.5, None, -20.0)], 1.0)
    assert np.array_equal(samples[: RATE // 2], samples[RATE // 2 :])


def test_what_lies_outside_is_cut_off():
    samples = mixed([Sound(0.5, 9.0, 200.0, -20.0), Sound(5.0, 6.0, 300.0, -20.0)], 1.0)
    assert len(samples) == RATE
    assert np.abs(samples[-100:]).max() > 0.01


def test_each_block_is_told_as_it_passes():
    told: list[int] = []
    total = sum(map(len, counted(render([], 1.0, RATE, block=6000), told.append)))
    assert told == [6000, 6000, 4000]
    assert total == RATE


def test_errors_come_before_the_first_block():
    with pytest.raises(OptionError, match="cannot be played"):
        render([Sound(0.0, 1.0, 9000.0, -20.0)], 1.0, RATE)
    with pytest.raises(OptionError, match="sample rate"):
        render([], 1.0, 1)
