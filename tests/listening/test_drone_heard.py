"""A drone in the room does not spoil a take, and the report says that it was heard."""

from __future__ import annotations

import numpy as np
import pytest

from skeleton.audio.drone import drone, drone_blocks
from skeleton.listening import listen as listening
from skeleton.theory.instrument import INSTRUMENTS, open_string_hz

STRINGS_HZ = open_string_hz(INSTRUMENTS["violin"])
UNDER = 0.35
SAME_CENTS = 2.0


@pytest.fixture(scope="module")
def take(made):
    """An etude of about thirty notes, and a clean take of it in a room."""
    analysis, _ = made.etude(1, 32)
    report_hz = listening.note_targets(analysis, analysis.parts[0])
    part = analysis.score.parts[0]
    events = listening.score_events(part, {note: one.hz for note, one in report_hz.items()})
    habits = made.Habits(
        off_sd_cents=8.0, restarts=0.0, wrong=0.0, extra=0.0, skipped=0.0, vibrato=0.0
    )
    played = made.perform(
        [float(event.quarters) for event in events], [event.hz[0] for event in events], 1, habits
    )
    return analysis, made.sound(played, 1, "room")


def test_notes_over_a_drone_are_heard_as_without_it(made, take):
    analysis, sound = take
    tone = np.concatenate(
        list(drone_blocks(drone(STRINGS_HZ[1:3], len(sound) / made.RATE, made.RATE)))
    )[: len(sound)]
    tone *= UNDER * float(np.sqrt(np.mean(sound**2)) / np.sqrt(np.mean(tone**2)))
    with_it = (sound + tone).astype(np.float32)
    plain = listening.listen(analysis, sound, made.RATE, strings_hz=STRINGS_HZ)
    over = listening.listen(analysis, with_it, made.RATE, strings_hz=STRINGS_HZ)
    assert "drone" not in {one.code for one in plain.notices}
    (said,) = [one.message for one in over.notices if one.code == "drone"]
    assert "293.3 Hz" in said
    assert "440.0 Hz" in said
    assert [one.event for one in over.alignment.played] == [
        one.event for one in plain.alignment.played
    ]
    pairs = [
        (one.cents, other.cents)
        for one, other in zip(over.attempts, plain.attempts, strict=True)
        if one.cents is not None and other.cents is not None
    ]
    assert len(pairs) >= 0.9 * len(plain.attempts)
    assert np.quantile([abs(one - other) for one, other in pairs], 0.9) < SAME_CENTS
