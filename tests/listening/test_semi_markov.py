"""The decoder on small models whose best path is known, or found by trying all of them."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.listening.semi_markov import ONSET, Model, decode

FRAMES, LONGEST = 9, 6


def model(note, sonority, *, onset=None, durations=None, rest=None, wrong=False):
    frames, events = len(note), len(sonority)
    return Model(
        note=np.asarray(note, np.float32),
        sonority=np.asarray(sonority, np.intp),
        rest=np.full(frames, -50.0, np.float32) if rest is None else np.asarray(rest, np.float32),
        wrong=np.full(frames, -1.0, np.float32),
        onset=np.zeros(frames, np.float32) if onset is None else np.asarray(onset, np.float32),
        durations=np.zeros((1, events, LONGEST), np.float32)
        if durations is None
        else np.asarray(durations, np.float32)[None],
        pace=np.zeros(frames, np.intp),
        repeats=np.zeros(events, np.bool_),
        barline=np.zeros(events, np.bool_),
        rest_after=np.zeros(events, np.bool_),
        grace=np.zeros(events, np.bool_),
        wrong_allowed=wrong,
    )


def sounding(order, frames_each, count):
    """Frame scores in which one sonority after another fits."""
    note = np.full((len(order) * frames_each, count), -1.5)
    for place, one in enumerate(order):
        note[place * frames_each : (place + 1) * frames_each, one] = 0.0
    return note


def spans(found):
    return [(one.kind, one.event, one.first, one.last) for one in found.stretches]


def test_a_straight_run():
    found = decode(model(sounding([0, 1, 2], 4, 3), [0, 1, 2]))
    assert spans(found) == [("note", 0, 0, 4), ("note", 1, 4, 8), ("note", 2, 8, 12)]
    assert found.score == pytest.approx(0.0, abs=1e-3)


def test_a_rest_then_back_is_a_jump():
    note = np.concatenate(
        [sounding([0, 1, 2], 12, 4), np.full((8, 4), -1.5), sounding([1, 2, 3], 12, 4)]
    )
    rest = np.concatenate([np.full(36, -1.5), np.zeros(8), np.full(36, -1.5)])
    onset = np.zeros(80)
    onset[44] = 1.0
    long = np.zeros((4, 20))
    found = decode(model(note, [0, 1, 2, 3], rest=rest, onset=onset, durations=long))
    assert [(k, e) for k, e, _, _ in spans(found)] == [
        ("note", 0), ("note", 1), ("note", 2), ("rest", 2), ("note", 1), ("note", 2), ("note", 3),
    ]  # fmt: skip
    assert [one.jump for one in found.stretches if one.kind == "note"] == [0, 0, 0, 1, 0, 0]


def test_a_note_longer_than_the_table_is_held():
    found = decode(model(sounding([0, 1], 30, 2), [0, 1]))
    assert spans(found) == [("note", 0, 0, 30), ("note", 1, 30, 60)]


def test_something_wrong_takes_an_events_place():
    note = sounding([0, 3, 2], 12, 4)
    durations = np.zeros((3, 20))
    cheap = model(note, [0, 1, 2], durations=durations, wrong=True)
    cheap.wrong[:] = -0.05
    found = decode(cheap)
    assert [(k, e) for k, e, _, _ in spans(found)] == [("note", 0), ("wrong", 1), ("note", 2)]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.lists(st.floats(-1.5, 0.0, width=16), min_size=3, max_size=3),
        min_size=FRAMES,
        max_size=FRAMES,
    ),
    st.lists(st.floats(-3.0, 0.0, width=16), min_size=LONGEST, max_size=LONGEST),
    st.lists(st.floats(0.0, 1.0, width=16), min_size=FRAMES, max_size=FRAMES),
)
def test_no_straight_run_scores_higher_than_the_path_found(note, duration, onset):
    """Every way to cut the frames into runs of neighbouring events, tried one by one."""
    durations = np.tile(np.asarray(duration), (3, 1))
    found = decode(model(note, [0, 1, 2], onset=onset, durations=durations))
    best = -np.inf
    scores = np.asarray(note)
    for lengths in product(range(1, LONGEST), repeat=3):
        if sum(lengths) != FRAMES:
            continue
        at, total = 0, 0.0
        for event, length in enumerate(lengths):
            total += ONSET * onset[at] + duration[length - 1]
            total += scores[at : at + length, event].sum()
            at += length
        best = max(best, total)
    assert found.score >= best - 1e-2
    covered = found.stretches
    assert covered[0].first == 0
    assert covered[-1].last == FRAMES
    assert all(a.last == b.first for a, b in pairwise(covered))


def test_of_two_equal_notes_the_second_is_taken_to_be_left_out():
    onset = np.zeros(36)
    onset[[0, 12, 24]] = 1.0
    one = model(sounding([0, 1, 2], 12, 3), [0, 1, 1, 2], onset=onset, durations=np.zeros((4, 20)))
    one.durations[:, :, :8] = -9.0
    one.repeats[2] = True
    assert [event for _, event, _, _ in spans(decode(one))] == [0, 1, 3]


@pytest.mark.parametrize(("pause_frames", "after"), [(30, [2, 3]), (120, [0, 1])])
def test_who_stops_for_long_goes_back_where_both_fit(pause_frames, after):
    """The score is a-b-a-b; a and b are played, a rest, a and b again."""
    start = 24 + pause_frames
    note = np.full((start + 24, 2), -1.5)
    for first, sonority in ((0, 0), (12, 1), (start, 0), (start + 12, 1)):
        note[first : first + 12, sonority] = 0.0
    rest = np.full(len(note), -1.5)
    rest[24:start] = 0.0
    note[24:start] = -1.5
    onset = np.zeros(len(note))
    onset[[0, 12, start, start + 12]] = 1.0
    one = model(note, [0, 1, 0, 1], rest=rest, onset=onset, durations=np.zeros((4, 20)))
    one.barline[0] = True
    found = [event for kind, event, _, _ in spans(decode(one)) if kind == "note"]
    assert found == [0, 1, *after]
