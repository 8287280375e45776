"""What is left after a tone: on decays whose rate and level are known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from skeleton.audio.resonance import (
    FOLLOWED_S,
    HIGHEST_HZ,
    SILENT_S,
    WINDOW_S,
    Tone,
    Trace,
    covers,
    room_fit,
    spectra,
    steady_power,
    trace,
)

RATE = 22050
NOTE = Tone(0.5, 1.5, (587.33,))


def take(
    hz: float,
    *,
    end_db: float,
    fall_db_per_s: float,
    noise_db: float = -80.0,
    steady_db: float | None = None,
    seconds: float = 3.0,
) -> np.ndarray:
    """A sine from 0.5 to 1.5 s, then the same on from ``end_db``, falling in a straight line."""
    time = np.arange(round(seconds * RATE)) / RATE
    level = np.where(time < 1.5, 0.0, end_db - fall_db_per_s * (time - 1.5))
    level[time < 0.5] = -200.0
    sound = np.sin(2 * np.pi * hz * time) * 10 ** (level / 20)
    rng = np.random.default_rng(1)
    sound += rng.normal(0.0, 10 ** (noise_db / 20), len(time))
    if steady_db is not None:
        sound += 10 ** (steady_db / 20) * np.sin(2 * np.pi * hz * time + 1.0)
    return (0.2 * sound).astype(np.float32)


@pytest.mark.parametrize("end_db", [0.0, -12.0, -30.0])
@pytest.mark.parametrize("fall_db_per_s", [20.0, 60.0])
def test_level_and_fall_are_those_of_the_decay(end_db, fall_db_per_s):
    within_db = 0.5
    hz = NOTE.hz[0]
    found = spectra(take(hz, end_db=end_db, fall_db_per_s=fall_db_per_s), RATE)
    one = trace(found, hz, hz, NOTE, [])
    assert isinstance(one, Trace)
    assert one.seen.all()
    assert one.after_s[0] >= SILENT_S + WINDOW_S / 2 - 1e-6
    assert one.after_s[-1] <= SILENT_S + FOLLOWED_S - WINDOW_S / 2 + 1e-6
    expected = end_db - fall_db_per_s * one.after_s
    assert np.abs(one.over_db - expected).max() < within_db


def test_a_string_beside_the_note_is_read_at_its_own_mode():
    # The note is 20 cents sharp and stops dead; the string goes on at its own pitch.
    string = 587.33
    time = np.arange(3 * RATE) / RATE
    note = np.sin(2 * np.pi * string * 2 ** (20 / 1200) * time) * ((time > 0.5) & (time < 1.5))
    ring = np.where(time > 1.5, 10 ** ((-20 - 40 * (time - 1.5)) / 20), 0.0)
    sound = (0.2 * (note + ring * np.sin(2 * np.pi * string * time))).astype(np.float32)
    sound += np.random.default_rng(2).normal(0, 1e-5, len(sound)).astype(np.float32)
    tone = Tone(0.5, 1.5, (string * 2 ** (20 / 1200),))
    one = trace(spectra(sound, RATE), tone.hz[0], string, tone, [])
    assert isinstance(one, Trace)
    assert np.abs(one.over_db - (-20 - 40 * one.after_s)).max() < 0.5


def test_noise_is_a_floor_and_what_sinks_into_it_stays_there():
    hz = NOTE.hz[0]
    found = spectra(take(hz, end_db=-10.0, fall_db_per_s=200.0, noise_db=-30.0), RATE)
    one = trace(found, hz, hz, NOTE, [])
    assert isinstance(one, Trace)
    assert not one.seen[-1]
    last = int(np.argmin(one.seen))
    assert not one.seen[last:].any()
    assert np.all(one.over_db >= one.floor_db - 1e-9)


def test_a_steady_tone_is_no_decay():
    hz = NOTE.hz[0]
    sound = take(hz, end_db=-20.0, fall_db_per_s=400.0, steady_db=-25.0)
    found = spectra(sound, RATE)
    steady = steady_power(found, hz, 0.0, 3.0)
    blind = trace(found, hz, hz, NOTE, [])
    knowing = trace(found, hz, hz, NOTE, [], steady=steady)
    assert isinstance(blind, Trace)
    assert isinstance(knowing, Trace)
    assert blind.seen[-1]
    assert not knowing.seen[-1]


@pytest.mark.parametrize(
    ("note", "others", "until_s", "hz", "reason"),
    [
        (NOTE, [], math.inf, HIGHEST_HZ + 1, "too-high"),
        (Tone(1.4, 1.5, (587.33,)), [], math.inf, 587.33, "too-short"),
        (Tone(0.5, 2.9, (587.33,)), [], math.inf, 587.33, "too-short"),
        (NOTE, [Tone(1.5, 2.5, (293.0,))], math.inf, 587.33, "masked"),
        (NOTE, [Tone(1.5, 2.5, ())], math.inf, 587.33, "masked"),
        (NOTE, [], 1.6, 587.33, "masked"),
        (NOTE, [], math.inf, 700.0, "too-faint"),
    ],
)
def test_why_a_partial_cannot_be_followed(note, others, until_s, hz, reason):
    found = spectra(take(587.33, end_db=-10.0, fall_db_per_s=30.0), RATE)
    assert trace(found, hz, hz, note, others, until_s=until_s) == reason


def test_a_later_tone_ends_what_can_be_followed():
    hz = NOTE.hz[0]
    found = spectra(take(hz, end_db=-10.0, fall_db_per_s=30.0), RATE)
    free, masking = Tone(1.5, 1.9, (659.3,)), Tone(1.9, 2.5, (hz,))
    one = trace(found, hz, hz, NOTE, [free, masking])
    assert isinstance(one, Trace)
    assert one.after_s[-1] + WINDOW_S / 2 <= 1.9 - 1.5 + 1e-6


def test_what_covers_a_mode():
    # A5 holds the third partial of D5 and of no C5; nothing is known of a tone without pitches.
    assert covers(Tone(0, 1, (587.33,)), 3 * 587.33 + 5.0)
    assert not covers(Tone(0, 1, (523.25,)), 3 * 587.33)
    assert covers(Tone(0, 1, ()), 100.0)


@pytest.mark.parametrize("bend_db_per_s", [0.0, 30.0])
def test_the_room_is_read_off_its_traces(bend_db_per_s):
    rng = np.random.default_rng(3)
    after = np.arange(0.15, 0.6, 0.02)
    made = []
    for hz in np.geomspace(350, 2300, 24):
        fall = 120.0 + bend_db_per_s * math.log2(hz / 700.0)
        level = -5.0 - fall * after + rng.normal(0, 3) + rng.normal(0, 1, len(after))
        made.append(Trace(hz, after, level, level - 20, np.ones(len(after), dtype=bool)))
    # One of them is a string that nobody thought of.
    made[5] = Trace(made[5].hz, after, -5.0 - 30 * after, after - 60, made[5].seen)
    room = room_fit(made)
    assert room is not None
    for hz in (400.0, 1600.0):
        fall = 120.0 + bend_db_per_s * math.log2(hz / 700.0)
        assert np.abs(room.db(after, hz) - (-5.0 - fall * after)).max() < 5.0
    assert room.traces == 24


def test_too_few_traces_show_no_room():
    after = np.arange(0.15, 0.6, 0.02)
    seen = np.ones(len(after), dtype=bool)
    made = [Trace(500.0 + n, after, -100 * after, -200 * after, seen) for n in range(5)]
    assert room_fit(made) is None
    # Traces that never stood over the floor do not count.
    unseen = Trace(600.0, after, -100 * after, -100 * after, ~seen)
    assert room_fit([*made, unseen]) is None


def test_short_sound_has_no_frames():
    found = spectra(np.zeros(100, dtype=np.float32), RATE)
    assert len(found.power) == 0
    assert steady_power(found, 440.0, 0.0, 1.0) == 0.0
    assert trace(found, 440.0, 440.0, Tone(0.0, 1.0, (440.0,)), []) == "too-short"
