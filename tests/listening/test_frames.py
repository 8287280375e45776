"""Stretches round frames, against plain indexing of a sound between two silences."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from skeleton.listening import frames

MARGIN = 200


@settings(max_examples=60, deadline=None)
@given(
    length=st.integers(0, 400),
    hop=st.integers(1, 40),
    shift=st.integers(-90, 60),
    width=st.integers(1, 100),
)
def test_every_stretch_is_what_lies_there(length, hop, shift, width):
    sound = np.arange(1, length + 1, dtype=np.float32)
    silence = np.zeros(MARGIN, np.float32)
    around = np.concatenate([silence, sound, silence])
    found = np.concatenate([cut for _, cut in frames.cuts(sound, hop, shift, width)])
    assert len(found) == frames.count(sound, hop)
    for frame, cut in enumerate(found):
        first = MARGIN + frame * hop + shift
        assert np.array_equal(cut, around[first : first + width])


def test_pieces_join_without_a_gap():
    hop = 2
    sound = np.arange(2 * hop * frames.PIECE + 3, dtype=np.float32)
    pieces = list(frames.cuts(sound, hop, 0, 1))
    assert [first for first, _ in pieces] == [0, frames.PIECE, 2 * frames.PIECE]
    joined = np.concatenate([cut[:, 0] for _, cut in pieces])
    assert np.array_equal(joined, sound[::hop])
