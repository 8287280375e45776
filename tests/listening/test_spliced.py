"""A take of real notes, put together by seed, is followed; see ``spliced.py`` for the notes."""

from __future__ import annotations

import os

import numpy as np
import pytest

from skeleton.audio.pitch import Measured, measure
from skeleton.listening.events import score_events
from skeleton.listening.note_targets import note_targets

pytestmark = pytest.mark.skipif(
    not os.environ.get("SKELETON_VIOLIN_NOTES"), reason="no real notes: set SKELETON_VIOLIN_NOTES"
)

PITCH_TOLERANCE_CENTS = 6.0


@pytest.fixture(scope="session")
def notes(spliced):
    if spliced.folder() is None:
        pytest.skip("praat-parselmouth is not installed")
    return spliced.real_notes(spliced.folder())


def test_a_spliced_note_has_the_pitch_that_was_wanted(made, spliced, notes):
    """Measured by the package, where Praat's curve set it: vibrato leaves some cents between."""
    apart = []
    for number, hz in enumerate((220.0, 311.0, 452.0, 587.0, 880.0, 1250.0)):
        played = [made.Sung(0, hz, 0.0, 0.3, 1.6)]
        sound = spliced.sound(made, played, number, notes, "clean")
        found = measure(sound, made.RATE, hz, start_s=0.3, end_s=1.6)
        assert isinstance(found, Measured)
        apart.append(abs(found.cents))
    assert max(apart) < PITCH_TOLERANCE_CENTS
    assert np.median(apart) < PITCH_TOLERANCE_CENTS / 3


def test_a_spliced_take_is_followed(made, scoring, spliced, notes):
    analysis, _ = made.etude(7, 28)
    targets = note_targets(analysis, analysis.parts[0])
    line = score_events(analysis.score.parts[0], {key: one.hz for key, one in targets.items()})
    quarters = [float(one.quarters) for one in line]
    hz = [one.hz[0] for one in line]
    played = made.perform(quarters, hz, 7, made.Habits(restarts=1.5, vibrato=0.0))
    report, _ = scoring.heard(made, analysis, spliced.sound(made, played, 7, notes, "room"))
    total = scoring.Score()
    scoring.score(report, played, 0.0, total, 7)
    assert total.right_pitch / total.notes >= 0.97
