"""A drone under bowed notes is taken out; bowed notes alone are left untouched, however long."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.audio.background import without_drone
from skeleton.audio.drone import drone, drone_blocks

D4_HZ, A4_HZ = 880.0 / 3.0, 440.0
LEAST_TAKEN_OUT_DB = 20.0
PITCH_CENTS = 0.5


@pytest.fixture(scope="module")
def bowed(tones):
    """Makes bowed notes of lengths and pitches from a seed, one after another."""

    def make(seconds, seed, lengths_s, hz):
        rng = np.random.default_rng(seed)
        body = tones.body(rng)
        whole = rng.normal(0.0, 1e-3, round(seconds * tones.RATE))
        at = 0.3
        while at < seconds - 0.5:
            end = min(at + float(rng.uniform(*lengths_s)), seconds - 0.2)
            part = tones.played(tones.Tone(float(rng.choice(hz)), at, end), rng, body)
            first = round(at * tones.RATE)
            whole[first : first + len(part)] += part[: len(whole) - first]
            at = end + (0.2 if rng.random() < 0.2 else 0.0)
        return (0.1 * whole).astype(np.float32)

    return make


def _drone(hz, seconds, rate):
    return np.concatenate(list(drone_blocks(drone(hz, seconds, rate)))).astype(np.float32)


def _db(samples) -> float:
    return 10.0 * math.log10(float(np.mean(np.square(samples, dtype=np.float64))) + 1e-15)


SCALE_HZ = tuple(D4_HZ * 2.0 ** (step / 12.0) for step in (0, 2, 4, 5, 7, 9, 11, 12, 14))


@pytest.mark.parametrize("below_db", [6.0, 12.0, 20.0])
def test_a_drone_is_taken_out_and_its_pitches_are_named(bowed, tones, below_db):
    notes = bowed(26.0, 1, (0.25, 0.7), SCALE_HZ)
    under = _drone([D4_HZ, A4_HZ], 26.0, tones.RATE)
    under *= np.float32(10.0 ** ((_db(notes) - _db(under) - below_db) / 20.0))
    clear, found = without_drone(notes + under, tones.RATE)
    assert len(found) == 2
    for one, hz in zip(found, (D4_HZ, A4_HZ), strict=True):
        assert abs(1200.0 * math.log2(one.hz / hz)) < PITCH_CENTS
    inside = slice(tones.RATE, 25 * tones.RATE)
    left = _db((clear - notes)[inside]) - _db(under[inside])
    assert left < -LEAST_TAKEN_OUT_DB


def test_a_drone_that_comes_and_goes_is_taken_out_where_it_is(bowed, tones):
    notes = bowed(50.0, 2, (0.25, 0.7), SCALE_HZ)
    under = _drone([D4_HZ], 50.0, tones.RATE)
    under *= np.float32(10.0 ** ((_db(notes) - _db(under) - 10.0) / 20.0))
    under[: 14 * tones.RATE] = 0.0
    clear, found = without_drone(notes + under, tones.RATE)
    assert len(found) == 1
    assert found[0].start_s > 2.0
    before, inside = slice(0, 5 * tones.RATE), slice(20 * tones.RATE, 49 * tones.RATE)
    assert np.array_equal(clear[before], notes[before])
    assert _db((clear - notes)[inside]) - _db(under[inside]) < -LEAST_TAKEN_OUT_DB


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10_000), longest_s=st.sampled_from([0.5, 2.0, 6.0]))
def test_bowed_notes_alone_are_left_as_they_are(bowed, tones, seed, longest_s):
    hz = SCALE_HZ if seed % 2 else (D4_HZ,)
    notes = bowed(14.0 + seed % 7, seed, (0.2, longest_s), hz)
    clear, found = without_drone(notes, tones.RATE)
    assert clear is notes
    assert found == ()


def test_a_tone_alone_is_a_note_and_no_drone(tones):
    tone = _drone([D4_HZ], 20.0, tones.RATE)
    clear, found = without_drone(tone, tones.RATE)
    assert clear is tone
    assert found == ()


@pytest.mark.parametrize("seconds", [0.0, 0.2, 5.0, 15.0])
def test_a_short_or_silent_recording_is_left_as_it_is(tones, seconds):
    silence = np.zeros(round(seconds * tones.RATE), np.float32)
    clear, found = without_drone(silence, tones.RATE)
    assert clear is silence
    assert found == ()


@pytest.mark.parametrize(("held_hz", "left"), [(D4_HZ, [A4_HZ]), (A4_HZ / 2.01, [D4_HZ])])
def test_what_the_music_itself_holds_is_no_drone(bowed, tones, held_hz, left):
    """A pitch is music where the score holds it, or has it as a low partial of what it holds."""
    notes = bowed(26.0, 1, (0.25, 0.7), SCALE_HZ)
    under = _drone([D4_HZ, A4_HZ], 26.0, tones.RATE)
    under *= np.float32(10.0 ** ((_db(notes) - _db(under) - 10.0) / 20.0))
    _, found = without_drone(notes + under, tones.RATE, [held_hz])
    assert [one.hz for one in found] == pytest.approx(left, rel=1e-3)
