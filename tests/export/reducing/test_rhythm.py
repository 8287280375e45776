"""Spelling of lengths: what any handbook of notation asks of a written bar."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.export.reducing.rhythm import (
    VALUE_NAMES,
    Bar,
    Value,
    bar,
    beam_groups,
    beams,
    plain_value,
    spell,
)
from skeleton.score.model import Metre

METRES = [
    Metre((2,), 4), Metre((3,), 4), Metre((4,), 4), Metre((5,), 4), Metre((2,), 2), Metre((3,), 2),
    Metre((3,), 8), Metre((6,), 8), Metre((9,), 8), Metre((12,), 8), Metre((5,), 8),
    Metre((7,), 8), Metre((3, 2), 8), Metre((2, 2, 3), 8), Metre((6,), 4), Metre((4,), 16),
]  # fmt: skip
LENGTHS = {name: length for length, name in VALUE_NAMES.items()}
UNIT = 3 * 64
"""Ticks in a quarter: a 256th is three of them, so that there are times off its grid."""


def ticks(quarters: str | Fraction) -> int:
    time = Fraction(quarters) * UNIT
    assert time.denominator == 1
    return time.numerator


def full_bar(metre: Metre) -> Bar:
    return bar(metre, ticks(metre.length_quarters), UNIT)


def written(metre: Metre, start: str, end: str, *, rest: bool = False) -> list[str]:
    pieces = spell(ticks(start), ticks(end), full_bar(metre), rest=rest)
    return [piece.value.name + "." * piece.value.dots for piece in pieces]


@st.composite
def spans(draw: st.DrawFn) -> tuple[Metre, int, int]:
    metre = draw(st.sampled_from(METRES))
    steps = int(metre.length_quarters * 16)
    start = draw(st.integers(0, steps - 1))
    end = draw(st.integers(start + 1, steps))
    return metre, start * UNIT // 16, end * UNIT // 16


@given(spans(), st.booleans())
def test_pieces_add_up_and_are_plain_values(span: tuple[Metre, int, int], rest: bool) -> None:
    metre, start, end = span
    pieces = spell(start, end, full_bar(metre), rest=rest)
    assert pieces[0].start == start
    assert pieces[-1].end == end
    for piece, following in pairwise(pieces):
        assert piece.end == following.start
    for piece in pieces:
        plain = ticks(LENGTHS[piece.value.name])
        assert piece.end - piece.start == plain * (Fraction(3, 2) if piece.value.dots else 1)
        assert piece.value.dots <= 1


@given(spans())
def test_no_piece_hides_the_middle_of_a_bar_of_four(
    span: tuple[Metre, int, int],
) -> None:
    """Common practice, no source: the middle shows unless a value starts or ends at a barline."""
    metre, start, end = span
    where = full_bar(metre)
    for piece in spell(start, end, where):
        if where.middle is not None and piece.start < where.middle < piece.end:
            assert piece.start == 0 or piece.end == where.length


@pytest.mark.parametrize(
    ("metre", "start", "end", "expected"),
    [
        (Metre((4,), 4), "0", "4", ["whole"]),
        (Metre((4,), 4), "0", "3", ["half."]),
        (Metre((4,), 4), "1", "3", ["quarter", "quarter"]),
        (Metre((4,), 4), "1/2", "3/2", ["quarter"]),
        (Metre((4,), 4), "3/2", "5/2", ["eighth", "eighth"]),
        (Metre((3,), 4), "1", "3", ["half"]),
        (Metre((6,), 8), "0", "3", ["half."]),
        (Metre((6,), 8), "0", "2", ["quarter.", "eighth"]),
        (Metre((6,), 8), "1/2", "2", ["quarter", "eighth"]),
        (Metre((9,), 8), "0", "9/2", ["half.", "quarter."]),
        (Metre((5,), 8), "0", "5/2", ["quarter.", "quarter"]),
        (Metre((2,), 4), "1/4", "2", ["eighth.", "quarter"]),
    ],
)
def test_notes_as_a_handbook_writes_them(
    metre: Metre, start: str, end: str, expected: list[str]
) -> None:
    """Common practice, no source."""
    assert written(metre, start, end) == expected


@pytest.mark.parametrize(
    ("metre", "start", "end", "expected"),
    [
        (Metre((4,), 4), "1", "4", ["quarter", "half"]),
        (Metre((3,), 4), "1", "3", ["quarter", "quarter"]),
        (Metre((2,), 4), "1/4", "2", ["16th", "eighth", "quarter"]),
        (Metre((6,), 8), "3/2", "3", ["quarter."]),
        (Metre((6,), 8), "1/2", "3/2", ["eighth", "eighth"]),
    ],
)
def test_rests_show_every_beat(metre: Metre, start: str, end: str, expected: list[str]) -> None:
    """Common practice, no source."""
    assert written(metre, start, end, rest=True) == expected


def test_a_time_off_every_grid_is_refused() -> None:
    with pytest.raises(ValueError, match="no plain values"):
        spell(ticks("1/3"), ticks("1"), full_bar(Metre((2,), 4)))


def test_a_pickup_counts_its_beats_from_the_end() -> None:
    where = bar(Metre((3,), 8), ticks("1/2"), UNIT, pickup=True)
    assert where.beats == (0, ticks("1/2"))
    where = bar(Metre((4,), 4), ticks("3/2"), UNIT, pickup=True)
    assert where.beats == (0, ticks("1/2"), ticks("3/2"))


def test_plain_value_knows_no_length_between() -> None:
    assert plain_value(ticks("3/4"), UNIT) == Value("eighth", 1)
    assert plain_value(ticks("3/4"), UNIT, dots=0) is None
    assert plain_value(ticks("5/4"), UNIT) is None


def test_beams_stay_inside_a_beat_and_stop_at_rests() -> None:
    where = full_bar(Metre((2,), 4))
    eighth, sixteenth = Value("eighth", 0), Value("16th", 0)
    quarter = ticks("1/4")
    items = [
        (0 * quarter, eighth),
        (2 * quarter, sixteenth),
        (3 * quarter, sixteenth),
        (4 * quarter, sixteenth),
        (5 * quarter, None),
        (6 * quarter, eighth),
    ]
    assert beam_groups(items, where) == [[0, 1, 2]]
    assert beams([eighth, sixteenth, sixteenth]) == [
        ["begin"], ["continue", "begin"], ["end", "end"],
    ]  # fmt: skip


@given(st.lists(st.sampled_from(["eighth", "16th", "32nd"]), min_size=2, max_size=8))
def test_every_beam_that_begins_ends(names: list[str]) -> None:
    words = beams([Value(name, 0) for name in names])
    for level in range(1, 4):
        is_open = False
        for row in words:
            word = row[level - 1] if len(row) >= level else None
            if word == "begin":
                assert not is_open
                is_open = True
            elif word in {"continue", "end"}:
                assert is_open
                is_open = word == "continue"
            else:
                assert not is_open
        assert not is_open
