"""Notes that may be others are not judged, and no skip is told from them."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from skeleton.listening.alignment import align
from skeleton.listening.doubts import DOUBTFUL, unconfirmed
from skeleton.listening.events import ScoreEvent
from skeleton.listening.measure import LEAST_CONFIDENCE
from skeleton.listening.semi_markov import Stretch
from skeleton.theory.pitch import parse_pitch
from skeleton.theory.tuning import pythagorean_hz

LINE = ["D4", "F#4", "E4", "G4", "A4", "C5", "B4", "D5", "F5", "E5", "C#5", "A4"]
STEP_S = 0.3


def hz(name):
    return pythagorean_hz(parse_pitch(name))


def line(names=LINE, grace=()):
    return tuple(
        ScoreEvent(
            (f"n{place + 1}",), (hz(name),), (), Fraction(place), Fraction(1), place // 4,
            place % 4 == 0, grace=place in grace, rest_after=False,
        )
        for place, name in enumerate(names)
    )  # fmt: skip


def stretch(event, at, kind="note", *, jump=False):
    return Stretch(kind, event, at, at + 10, jump)


def test_doubtful_notes_are_not_judged():
    assert DOUBTFUL < LEAST_CONFIDENCE


@pytest.mark.parametrize(
    ("last", "found"),
    [
        ([stretch(4, 20), stretch(0, 40, jump=True)], {2}),
        ([stretch(4, 20), stretch(4, 30, "rest"), stretch(0, 40, jump=True)], {2}),
        ([stretch(4, 20)], {2}),
        ([stretch(4, 20), stretch(5, 30)], set()),
        ([stretch(2, 20), stretch(0, 30, jump=True)], set()),
        ([stretch(4, 20, jump=True), stretch(0, 30, jump=True)], set()),
        ([stretch(11, 20)], set()),
    ],
)
def test_a_leap_confirmed_by_nothing(last, found):
    assert unconfirmed(line(), [stretch(0, 0), stretch(1, 10), *last]) == found


def test_a_grace_note_left_out_is_no_leap():
    stretches = [stretch(0, 0), stretch(2, 10), stretch(0, 20, jump=True)]
    assert unconfirmed(line(grace={1}), stretches) == set()
    assert unconfirmed(line(), stretches) == {1}


def test_a_note_struck_twice_is_listed_and_not_sure(made):
    """E4 is struck twice, the first time by mistake: which of them is meant nobody can tell."""
    at, tones = 0.6, []
    for place, name in enumerate(LINE):
        for _ in range(2 if place == 2 else 1):
            tones.append(made.tones.Tone(hz(name), at, at + STEP_S))
            at += STEP_S
    found = align(made.tones.mixed(tones, 4), made.RATE, line())
    struck = [one for one in found.played if one.event == 2]
    sure = [one for one in struck if one.kind == "note" and one.confidence >= LEAST_CONFIDENCE]
    # Either one note that is not judged, or one right and one wrong note; never one long right one.
    assert all(one.end_s - one.start_s < 1.5 * STEP_S for one in sure)
    others = [one.confidence for one in found.played if one.kind == "note" and one.event != 2]
    assert len(others) == len(LINE) - 1
    assert np.min(others) >= LEAST_CONFIDENCE
