"""Saliences: the note that sounds stands out, octaves and neighbours do not."""

from __future__ import annotations

import numpy as np
import pytest

from skeleton.listening.salience import STEP_CENTS, salience

WITHIN_CENTS = 30.0


@pytest.mark.parametrize("midi", [55, 57, 62, 69, 76, 84, 93, 100])
def test_the_note_that_sounds_is_the_most_salient(made, midi):
    hz = made.tones.from_midi(midi, 12.0)
    sound = made.tones.mixed([made.tones.Tone(hz, 0.3, 0.9)], midi)
    found = salience(sound, made.RATE, 160.0, 3500.0)
    middle = round(0.6 / found.hop_s)
    top = found.low_cents + STEP_CENTS * int(found.values[middle].argmax())
    assert abs(top - 1200 * np.log2(hz)) <= WITHIN_CENTS
    own = found.near(hz, 0.0, 50.0)[middle]
    assert own > 0.6
    for cents in (-1200.0, -100.0, 100.0, 1200.0):
        if 160.0 < hz * 2 ** (cents / 1200) < 3300.0:
            assert found.near(hz, cents, 40.0)[middle] < own - 0.08
    quiet = found.peak[: round(0.2 / found.hop_s)]
    assert float(quiet.max()) < 0.42


def test_onsets_are_where_notes_begin(made):
    times = [0.3, 0.7, 1.1, 1.5]
    line = [made.tones.Tone(440.0 * 1.2**i, at, at + 0.38) for i, at in enumerate(times)]
    found = salience(made.tones.mixed(line, 4), made.RATE, 300.0, 2000.0)
    strong = np.flatnonzero(found.onset > 0.5) * found.hop_s
    assert all(np.abs(strong - at).min() < 0.04 for at in times)
