"""Notes that may be others are not judged, and no skip is told from them."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from skeleton.listening.alignment import align
from skeleton.listening.doubts import (
    DOUBTFUL,
    attacked_twice,
    doubtful,
    fills_a_gap,
    interrupted,
    unconfirmed,
)
from skeleton.listening.emissions import MISS
from skeleton.listening.events import ScoreEvent
from skeleton.listening.measure import LEAST_CONFIDENCE
from skeleton.listening.salience import Salience
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


AGAIN = [stretch(0, 60, jump=True), stretch(1, 70)]
"""The player stops, goes back and goes on."""


@pytest.mark.parametrize(
    ("last", "found"),
    [
        ([stretch(4, 20), *AGAIN], {2}),
        ([stretch(4, 20), stretch(4, 30, "rest"), *AGAIN], {2}),
        ([stretch(4, 20)], {2}),
        ([stretch(4, 20), stretch(6, 30), stretch(7, 40)], {2}),
        ([stretch(4, 20), stretch(5, 30)], set()),
        ([stretch(2, 20), *AGAIN], set()),
        ([stretch(4, 20, jump=True), *AGAIN], {2}),
        ([stretch(4, 20, jump=True), stretch(6, 30), stretch(7, 40)], {2}),
        ([stretch(4, 20, jump=True), stretch(5, 30), *AGAIN], set()),
        ([stretch(4, 20, jump=True)], {2}),
        ([stretch(1, 20, jump=True), stretch(1, 30, jump=True), *AGAIN], set()),
        ([stretch(11, 20)], set()),
    ],
)
def test_a_note_between_two_leaps_is_confirmed_by_nothing(last, found):
    assert unconfirmed(line(), [stretch(0, 0), stretch(1, 10), *last]) == found


def test_a_grace_note_left_out_is_no_leap():
    stretches = [stretch(0, 0), stretch(2, 10), *AGAIN]
    assert unconfirmed(line(grace={1}), stretches) == set()
    assert unconfirmed(line(), stretches) == {1}


@pytest.mark.parametrize(
    ("longer", "attack", "two"),
    [(1.35, 0.6, True), (1.25, 0.7, False), (1.25, 0.8, True), (2.0, 0.25, True),
     (2.0, 0.2, False), (1.15, 1.0, False), (3.0, 0.0, False)],
)  # fmt: skip
def test_the_longer_a_note_the_less_of_an_attack_makes_it_two(longer, attack, two):
    frames = 40
    onset = np.zeros(frames, np.float32)
    onset[0], onset[20] = 1.0, attack
    found = Salience(
        np.zeros((frames, 1), np.uint8), np.ones(frames, np.float32),
        np.zeros(frames, np.float32), onset, 0.0, 0.0145,
    )  # fmt: skip
    one = Stretch("note", 0, 0, frames)
    assert attacked_twice(found, one, frames * 0.0145 / longer) is two


@pytest.mark.parametrize(
    ("lasts", "left_out", "found"), [(1.3, 1.0, False), (1.5, 1.0, True), (3.0, 0.0, False)]
)
def test_a_note_as_long_as_it_and_what_was_left_out(lasts, left_out, found):
    assert fills_a_gap(lasts, 1.0, left_out) is found


def test_of_equal_notes_none_is_sure_where_one_was_struck_too_often():
    events = line(["D4", "E4", "E4", "G4", "E4"])
    stretches = [
        Stretch("note", event, first, last)
        for event, first, last in (
            (0, 0, 20),
            (1, 20, 40),
            (2, 40, 80),
            (3, 80, 100),
            (4, 100, 120),
        )
    ]
    onset = np.zeros(120, np.float32)
    onset[60] = 0.5
    found = Salience(
        np.zeros((120, 1), np.uint8), np.ones(120, np.float32), np.zeros(120, np.float32), onset,
        0.0, 0.0145,
    )  # fmt: skip
    scores = [np.zeros(one.last - one.first, np.float32) for one in stretches]
    pace_s = np.full(120, 20 * 0.0145)
    assert doubtful(found, events, stretches, scores, pace_s) == {1, 2}
    onset[60] = 0.0
    assert doubtful(found, events, stretches, scores, pace_s) == set()


@pytest.mark.parametrize(("frames", "found"), [(4, False), (5, True)])
def test_something_else_for_long_interrupts_a_note(frames, found):
    scores = np.zeros(40, np.float32)
    scores[3 : 3 + frames] = scores[20:24] = -MISS
    assert interrupted(scores) is found


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
