"""What keeps a note from being judged: its neighbours in sound."""

from __future__ import annotations

from fractions import Fraction

import pytest

from skeleton.listening.alignment import Alignment, Played
from skeleton.listening.events import ScoreEvent
from skeleton.listening.measure import measure_notes

D4_HZ = 880 / 3


@pytest.mark.parametrize(("above", "reason"), [(2.0, "covered"), (1.5, None)])
def test_an_octave_double_stop_covers_its_upper_note(made, above, reason):
    """All partials of D5 are partials of D4; of A4 only every third meets one of D4."""
    hz = (D4_HZ, D4_HZ * above)
    sound = made.tones.mixed([made.tones.Tone(one, 0.2, 1.4) for one in hz], 3)
    event = ScoreEvent(("low", "high"), hz, (), Fraction(0), Fraction(1), 0, True, False, False)
    aligned = Alignment((Played("note", 0, 0.2, 1.4, 1, 0.9),), (), (), 0.0, (), 1.0, 1.6)
    low, high = measure_notes(sound, made.RATE, [event], aligned)
    assert low.reason is None
    assert high.reason == reason
