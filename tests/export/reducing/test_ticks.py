"""The unit of a reduction's times: every time that it can hold is a whole number of ticks."""

from __future__ import annotations

from fractions import Fraction

import pytest

from skeleton.export.reducing.ticks import GRID_PER_QUARTER, ticks_of, to_ticks
from skeleton.score.reading import read_bytes


@pytest.mark.parametrize(
    ("music", "metre"),
    [
        ("C5:1 D5:1", "2/4"),
        ("C5:1/3 D5:1/3 E5:1/3 r:1", "2/4"),
        ("C5:1/7 " * 7 + "D5:1/5 " * 5, "2/4"),
        ("C5:1/4 " * 5, "5/16"),
    ],
)
def test_all_times_of_a_part_are_whole(write_etude, music: str, metre: str) -> None:
    (part,) = read_bytes(write_etude(music.strip(), metre=metre), "etude.musicxml").parts
    unit = ticks_of(part)
    times = [note.onset_quarters for note in part.notes]
    times += [note.end_quarters for note in part.notes]
    times += [Fraction(1, GRID_PER_QUARTER), Fraction(4, part.measures[0].metre.beat_type)]
    for time in times:
        assert Fraction(to_ticks(time, unit), unit) == time


def test_the_shortest_value_inside_a_tuplet_is_whole(write_etude) -> None:
    data = write_etude("C5:1/7 " * 6 + "D5:1/7", metre="1/4")
    (part,) = read_bytes(data, "etude.musicxml").parts
    ratios = {note.time_modification for note in part.notes}
    assert ratios != {None}
    unit = ticks_of(part)
    for ratio in ratios:
        assert ratio is not None
        assert unit * ratio.normal % (GRID_PER_QUARTER * ratio.actual) == 0
