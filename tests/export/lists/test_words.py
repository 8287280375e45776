"""How pitches, beats and places are said."""

from __future__ import annotations

from fractions import Fraction
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.analysis.results import Place, Rule
from skeleton.export.lists import words
from skeleton.theory.pitch import parse_pitch


@pytest.mark.parametrize(
    ("beat", "plain", "signs"),
    [
        (Fraction(1), "1", "1"),
        (Fraction(5, 2), "2.5", "2½"),
        (Fraction(7, 4), "1.75", "1¾"),
        (Fraction(7, 3), "2 1/3", "2⅓"),
        (Fraction(17, 8), "2.125", "2⅛"),
        (Fraction(17, 16), "1.0625", "1.0625"),
        (Fraction(15, 7), "2 1/7", "2 1/7"),
        (Fraction(33, 32), "1 1/32", "1 1/32"),
    ],
)
def test_beats(beat: Fraction, plain: str, signs: str) -> None:
    assert words.beat_text(beat) == plain
    assert words.beat_text(beat, signs=True) == signs


@given(st.fractions(min_value=1, max_value=64, max_denominator=64))
def test_no_beat_is_rounded(beat: Fraction) -> None:
    assert sum(Fraction(word) for word in words.beat_text(beat).split()) == beat


def test_pitches_in_both_forms() -> None:
    assert words.pitch_text(parse_pitch("F#4")) == "F#4"
    assert words.pitch_text(parse_pitch("Bbb3"), signs=True) == "B♭♭3"
    assert words.pitches_text([parse_pitch("C#5"), parse_pitch("D5")], signs=True) == "C♯5 D5"


def test_places() -> None:
    place = Place("n1", "P1", "12a", 11, Fraction(5, 2), Fraction(0), "1", parse_pitch("F#4"))
    assert words.place_text(place) == "measure 12a beat 2.5"


def test_every_rule_has_words() -> None:
    assert set(words.RULES) == set(get_args(Rule))


def test_lists() -> None:
    assert words.listed([]) == ""
    assert words.listed([4]) == "4"
    assert words.listed([3, 4, 5]) == "3, 4 and 5"
    assert words.octaves_text([4]) == "octave 4"
    assert words.octaves_text([4, 5]) == "octaves 4 and 5"
    assert words.counted(1, "note") == "1 note"
    assert words.counted(0, "note") == "0 notes"


@given(st.text())
def test_one_line_holds_no_control_character(text: str) -> None:
    shown = words.one_line(text)
    assert shown.isprintable() or all(ord(char) >= 0xA0 for char in shown if not char.isprintable())
    assert len(shown.splitlines()) <= 1


def test_one_line_keeps_words_and_disarms_escapes() -> None:
    assert words.one_line(" In  A\n\tminor ") == "In A minor"
    assert words.one_line("a\x1b[31mred") == "a\N{REPLACEMENT CHARACTER}[31mred"
