"""Which places are unclear, and how wide durations are."""

from __future__ import annotations

import math

import numpy as np
import pytest

from skeleton.listening.events import ScoreEvent
from skeleton.listening.pace import duration_tables, local_paces_s
from skeleton.listening.places import unclear
from skeleton.listening.salience import salience
from skeleton.listening.semi_markov import Stretch
from skeleton.listening.whole_tuning import candidates_cents


def events(hz, rests=()):
    return [
        ScoreEvent((f"n{i}",), (one,), (), i, 1, 0, first_in_measure=i == 0, grace=False,
                   rest_after=i in rests)
        for i, one in enumerate(hz)
    ]  # fmt: skip


def test_a_run_found_twice_after_a_jump_is_unclear():
    line = events([440.0, 500.0, 440.0, 500.0, 600.0])
    played = [Stretch("note", i, 4 * i, 4 * i + 4) for i in range(3)]
    again = [Stretch("note", 0, 12, 16, jump=True), Stretch("note", 1, 16, 20)]
    assert unclear(line, [*played, *again]) == {3: (2,), 4: (3,)}
    # One note more, and only one place is left.
    told = [Stretch("note", 2 + i, 12 + 4 * i, 16 + 4 * i, jump=i == 0) for i in range(3)]
    assert unclear(line, [*played, *told]) == {}


def test_going_on_after_a_written_rest_is_clear():
    line = events([440.0, 500.0, 440.0, 500.0], rests=(1,))
    played = [
        Stretch("note", 0, 0, 4), Stretch("note", 1, 4, 8), Stretch("rest", 1, 8, 12),
        Stretch("note", 2, 12, 16), Stretch("note", 3, 16, 20),
    ]  # fmt: skip
    assert unclear(line, played) == {}
    assert unclear(events([440.0, 500.0, 440.0, 500.0]), played) == {3: (0,), 4: (1,)}


@pytest.mark.parametrize("cents", [-70.0, -20.0, 0.0, 35.0, 70.0])
def test_the_tuning_is_among_the_readings(made, cents):
    hz = [440.0 * 2 ** (step / 12) for step in (0, 2, 4, 5, 7)]
    ratio = 2 ** (cents / 1200)
    line = [made.tones.Tone(one * ratio, 0.3 + 0.4 * i, 0.7 + 0.4 * i) for i, one in enumerate(hz)]
    found = salience(made.tones.mixed(line, 3), made.RATE, 300.0, 1200.0)
    offers = candidates_cents(found, events(hz))
    assert min(abs(one - cents) for one in offers) < 8.0
    assert len(offers) <= 2


def test_durations_are_likeliest_where_the_pace_puts_them():
    table = duration_tables(events([440.0]), [0.5], 0.0145, 0.3)[0, 0]
    assert int(table.argmax()) + 1 == round(0.5 / 0.0145)
    expected, scale = 0.5 / 0.0145, math.hypot(0.3, 1.2 * 0.0145 / 0.5)
    for frames in (17, 25, 50, 69):
        wanted = -0.5 * (math.log(frames / expected) / scale) ** 2
        assert table[frames - 1] == pytest.approx(wanted, abs=1e-3)
    assert table[0] < table[1]


def test_paces_follow_the_nearest_notes():
    middles = np.arange(40.0)
    own = np.where(middles < 20, 0.5, 1.0)
    found = local_paces_s(middles, own, np.array([2.0, 37.0]))
    assert list(found) == [0.5, 1.0]
