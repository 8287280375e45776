from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from skeleton.audio.strings import FARTHEST_STRING_CENTS, PIECE_S, Sounding, open_strings, soundings
from skeleton.theory.instrument import INSTRUMENTS, custom, open_string_hz
from skeleton.theory.pitch import parse_pitch

WORST_STRING_CENTS = 1.5
VIOLIN = INSTRUMENTS["violin"]


def off_cents(hz, wanted_hz):
    return 1200 * math.log2(hz / wanted_hz)


def take(tones, instrument, away_cents, seed, *, doubles=True, seconds=1.2):
    """One string after another, then neighbours two by two, as when tuning."""
    hz = [
        one * 2 ** (away / 1200)
        for one, away in zip(open_string_hz(instrument), away_cents, strict=True)
    ]
    line, at = [], 0.4
    groups = [[one] for one in hz]
    if doubles:
        groups += [list(pair) for pair in pairwise(hz)]
    for group in groups:
        line += [tones.Tone(one, at, at + seconds) for one in group]
        at += seconds + 0.2
    return hz, tones.mixed(line, seed)


@pytest.mark.parametrize("name", INSTRUMENTS)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_every_string_is_found_alone_and_beside_its_neighbour(tones, name, seed) -> None:
    instrument = INSTRUMENTS[name]
    away = np.random.default_rng(seed).uniform(-30, 30, 4) + (-150, 0, 60)[seed - 1]
    hz, sound = take(tones, instrument, away, seed)
    if seed == 2:
        sound = tones.phone(tones.room(sound, 0.5, seed), seed)
    for string, wanted in zip(
        open_strings(soundings(sound, tones.RATE, instrument), instrument), hz, strict=True
    ):
        assert string.hz is not None
        assert abs(off_cents(string.hz, wanted)) < WORST_STRING_CENTS
        assert string.se_cents < 1.0
        assert string.moved_cents == 0.0
        assert string.heard_s > 1.5


def test_times_are_those_of_the_tones(tones) -> None:
    _, sound = take(tones, VIOLIN, [0, 0, 0, 0], 4, doubles=False)
    found = soundings(sound, tones.RATE, VIOLIN)
    for number, string in enumerate(VIOLIN.open_strings):
        begin = 0.4 + 1.4 * number
        mine = [one for one in found if one.string == string]
        assert min(one.start_s for one in mine) == pytest.approx(begin, abs=0.15)
        assert max(one.end_s for one in mine) == pytest.approx(begin + 1.2, abs=0.15)


def test_a_string_that_is_turned_counts_as_it_is_left(tones) -> None:
    line = [
        tones.Tone(440.0 * 2 ** (away / 1200), 0.3 + 1.3 * n, 1.5 + 1.3 * n)
        for n, away in enumerate((-38.0, -24.0, -11.0, 2.0))
    ]
    found = open_strings(soundings(tones.mixed(line, 5), tones.RATE, VIOLIN), VIOLIN)
    string = found[2]
    assert abs(off_cents(string.hz, 440.0) - 2.0) < WORST_STRING_CENTS
    assert string.settled_s == pytest.approx(0.3 + 3 * 1.3, abs=PIECE_S)
    assert string.moved_cents == pytest.approx(40.0, abs=2.5)
    assert [one.hz for one in (found[0], found[1], found[3])] == [None, None, None]


def test_a_retuned_instrument_is_known_by_its_own_strings(tones) -> None:
    strings = custom([parse_pitch(name) for name in ("A3", "E4", "A4", "E5")])
    hz, sound = take(tones, strings, [3.0, -4.0, 5.0, 0.0], 6, doubles=False)
    heard = open_strings(soundings(sound, tones.RATE, strings), strings)
    assert all(
        abs(off_cents(one.hz, wanted)) < WORST_STRING_CENTS
        for one, wanted in zip(heard, hz, strict=True)
    )


def test_noise_and_silence_hold_no_string(tones) -> None:
    noise = np.random.default_rng(0).normal(0, 0.03, 4 * tones.RATE).astype(np.float32)
    for sound in (noise, np.zeros_like(noise), noise[:100], noise[:0]):
        assert soundings(sound, tones.RATE, VIOLIN) == ()
    assert [one.hz for one in open_strings((), VIOLIN)] == [None] * 4
    assert FARTHEST_STRING_CENTS > 300


def test_pieces_that_are_less_sure_by_far_are_not_used() -> None:
    a4 = VIOLIN.open_strings[2]
    sure, wild = Sounding(a4, 0.0, 1.0, 440.0, 0.3), Sounding(a4, 2.0, 3.0, 444.0, 8.0)
    assert open_strings([sure, wild], VIOLIN)[2].hz == pytest.approx(440.0)
