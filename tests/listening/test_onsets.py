"""Onsets: a note played again is told from one that goes on, and from one that dies away."""

from __future__ import annotations

import numpy as np
import pytest

from skeleton.listening.onsets import onsets
from skeleton.listening.salience import HOP

WITHIN_S = 0.03
CLEAR = 0.5


def heard(made, sound):
    found = onsets(sound, made.RATE, HOP)
    return np.flatnonzero(found >= CLEAR) * HOP / made.RATE


def near(times, at_s):
    return any(abs(one - at_s) <= WITHIN_S for one in times)


@pytest.mark.parametrize("chain", ["clean", "room+phone"])
def test_equal_notes_that_follow_each_other_are_two(made, chain):
    starts = [0.5 + 0.35 * step for step in range(8)]
    tones = [made.tones.Tone(440.0, at, at + 0.35) for at in starts]
    times = heard(made, made.recorded(made.tones.mixed(tones, 5), 5, chain))
    assert sum(near(times, at) for at in starts) >= 7
    inside = [one for one in times if 0.6 < one < 3.2 and not near(starts, one)]
    assert len(inside) <= 1


@pytest.mark.parametrize("vibrato_cents", [0.0, 25.0])
def test_a_note_that_goes_on_is_one(made, vibrato_cents):
    tones = [made.tones.Tone(392.0, 0.5, 1.0), made.tones.Tone(440.0, 1.0, 4.0, 5.5, vibrato_cents)]
    times = heard(made, made.tones.mixed(tones, 8))
    assert near(times, 1.0)
    # One frame in a hundred inside notes is taken for more than it is.
    assert len([one for one in times if 1.1 < one < 3.9]) <= 1


def test_a_note_that_dies_away_does_not_begin(made):
    tones = [made.tones.Tone(440.0, 0.5, 1.0), made.tones.Tone(440.0, 2.0, 2.5)]
    times = heard(made, made.recorded(made.tones.mixed(tones, 3), 3, "room"))
    assert near(times, 2.0)
    assert not [one for one in times if 0.9 < one < 1.9]


@pytest.mark.parametrize("count", [0, 1, 4 * HOP, 5 * HOP])
def test_silence_and_almost_nothing_have_none(made, count):
    found = onsets(np.zeros(count, np.float32), made.RATE, HOP)
    assert len(found) == count // HOP + 1
    assert not found.any()
