"""Do the strings of a real violin ring longer than its room? The notes of ``test_real_notes.py``.

Nobody noted which of these fifteen single notes are open strings, and each has vibrato; so no sign
is known for any. What can be held is what the measurement rests on: partials of notes named like a
string (free strings share all of them) die away more slowly than those of the Cs, which no string
shares at the low partials.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from skeleton.audio.decode import RATE, open_recording, samples
from skeleton.audio.pitch import Measured, measure
from skeleton.audio.resonance import Tone, Trace, spectra, trace
from skeleton.theory.pitch import parse_pitch
from skeleton.theory.tuning import equal_hz

FOLDER = os.environ.get("SKELETON_VIOLIN_NOTES")

pytestmark = pytest.mark.skipif(not FOLDER, reason="no real notes: set SKELETON_VIOLIN_NOTES")


def qualities(name: str) -> list[float]:
    """Q that a partial would have if it were a string dying away by itself: 27.3 f / fall."""
    path = next(Path(FOLDER).rglob(f"{name}.wav"))
    sound = samples(open_recording(path))
    level = np.convolve(sound.astype(float) ** 2, np.ones(1102) / 1102, "same")
    end_s = float(np.flatnonzero(level > np.quantile(level, 0.9) / 4)[-1]) / RATE
    near = equal_hz(parse_pitch(name))
    pitch = measure(sound, RATE, near, start_s=end_s - 1.2, end_s=end_s - 0.1)
    hz = pitch.hz if isinstance(pitch, Measured) else near
    found = spectra(sound, RATE)
    note = Tone(end_s - 1.2, end_s, (hz,))
    out = []
    for number in range(1, 5):
        one = trace(found, number * hz, number * hz, note, [])
        if isinstance(one, Trace) and one.seen.sum() >= 6:
            seen = one.seen
            fall = -np.polyfit(one.after_s[seen], one.over_db[seen], 1)[0]
            out.append(20 * np.log10(np.e) * np.pi * number * hz / fall)
    return out


def test_strings_ring_longer_than_the_room():
    named = [q for name in ("G3", "A3", "A4", "E5") for q in qualities(name)]
    others = [q for name in ("C4", "C5", "C6") for q in qualities(name)]
    assert len(named) >= 8
    assert len(others) >= 5
    assert np.median(named) > 1.4 * np.median(others)
    # Of the order that skeleton/intonation/ring.py assumes for an open string (300).
    assert 150 < np.median(named) < 900
