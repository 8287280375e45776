from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.audio.resample import resampled
from skeleton.errors import OptionError

RATES = tuple((old, 22050) for old in (48000, 44100, 8000, 11025, 96000, 44099))
PASS_TOLERANCE_DB = -75.0
STOP_TOLERANCE_DB = -75.0
EDGE = 600


def sine(hz, rate, seconds):
    return np.sin(2 * np.pi * hz * np.arange(round(rate * seconds)) / rate).astype(np.float32)


def joined(blocks, old, new):
    return np.concatenate(list(resampled(blocks, old, new)))


@pytest.mark.parametrize(("old", "new"), RATES)
@pytest.mark.parametrize("share", [0.01, 0.2, 0.42])
def test_a_sine_comes_out_as_that_sine_at_the_new_times(old, new, share) -> None:
    hz = share * min(old, new)
    made = joined([sine(hz, old, 0.5)], old, new)
    assert len(made) == -(-round(old * 0.5) * new // old)
    wanted = sine(hz, new, 0.6)[: len(made)]
    worst = np.abs(made - wanted)[EDGE:-EDGE].max()
    assert 20 * np.log10(worst) < PASS_TOLERANCE_DB


@pytest.mark.parametrize(("old", "new"), [(48000, 22050), (44100, 22050), (96000, 22050)])
def test_what_would_fold_back_is_gone(old, new) -> None:
    made = joined([sine(0.56 * new, old, 0.5)], old, new)
    assert 20 * np.log10(np.abs(made[EDGE:-EDGE]).max()) < STOP_TOLERANCE_DB


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.integers(0, 900), min_size=1, max_size=12),
    st.sampled_from(RATES[:5]),
)
def test_the_cuts_between_blocks_leave_no_trace(lengths, rates) -> None:
    rng = np.random.default_rng(1)
    sound = rng.normal(size=sum(lengths)).astype(np.float32)
    blocks = np.split(sound, np.cumsum(lengths)[:-1])
    whole = joined([sound], *rates) if len(sound) else np.zeros(0)
    parts = list(resampled(blocks, *rates))
    assert np.array_equal(np.concatenate(parts) if parts else np.zeros(0), whole)


def test_the_same_rate_changes_nothing() -> None:
    sound = sine(440.0, 22050, 0.1)
    assert joined([sound], 22050, 22050) is not None
    assert np.array_equal(joined([sound], 22050, 22050), sound)


@pytest.mark.parametrize("rates", [(0, 22050), (22050, 10**9)])
def test_rates_out_of_range_are_refused(rates) -> None:
    with pytest.raises(OptionError, match="sample rate"):
        resampled([], *rates)
