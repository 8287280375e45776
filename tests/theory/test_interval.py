from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.errors import OptionError
from skeleton.theory.interval import (
    Interval,
    between,
    describe,
    interval_named,
    short,
    transpose,
)
from skeleton.theory.pitch import make_pitch, parse_pitch, parse_pitch_class

MINUS, HALF, QUARTER, THREE_QUARTERS = "\u2212", "\u00bd", "\u00bc", "\u00be"

ALTERS = st.integers(-3, 3) | st.fractions(-2, 2, max_denominator=4)
PITCHES = st.builds(make_pitch, st.sampled_from("CDEFGAB"), ALTERS, st.integers(0, 9))


def from_text(first, second):
    return between(parse_pitch(first), parse_pitch(second))


@given(PITCHES, PITCHES)
def test_the_way_back_is_the_same_interval_the_other_way(first, second):
    there, back = between(first, second), between(second, first)
    assert back == -there
    assert (back.name, back.words, back.size) == (there.name, there.words, there.size)
    opposite = {"above": "below", "below": "above", "same": "same"}
    assert back.direction == opposite[there.direction]


@given(PITCHES, PITCHES, PITCHES)
def test_ways_add_up(first, second, third):
    assert between(first, second) + between(second, third) == between(first, third)
    assert between(first, third) - between(second, third) == between(first, second)


@given(PITCHES, PITCHES, st.integers(-4, 4))
def test_octaves_move_both_ends_alike(first, second, octaves):
    moved = [make_pitch(one.step, one.alter, one.octave + octaves) for one in (first, second)]
    assert between(*moved) == between(first, second)


@given(PITCHES, PITCHES)
def test_transposing_arrives_at_the_other_pitch(first, second):
    assert transpose(first, between(first, second)) == second


@given(PITCHES, PITCHES)
def test_every_interval_has_a_mark_and_words(first, second):
    interval = between(first, second)
    assert str(first) in describe(interval, first)
    assert str(first.pitch_class) in short(interval, first)
    assert "\n" not in describe(interval, first)


@given(PITCHES, PITCHES)
def test_names_lead_back_to_the_interval(first, second):
    interval = between(first, second)
    if not interval.is_microtone:
        rising = interval if interval.sign >= 0 else -interval
        assert interval_named(interval.name) == rising


def test_qualities_table(table):
    for row in table("interval_qualities.tsv", 27):
        interval = interval_named(row["interval"])
        assert interval.semitones == int(row["semitones"]), row
        assert interval.name == row["interval"]
        # Inversion: numbers sum to 9, half steps to 12 (same source).
        if interval.name != "A8":
            inverted = Interval(7, 12) - interval
            assert inverted.words.split()[-1] in (row["inverts_to"], "step"), row
            assert inverted.number + interval.number == 9
            swapped = {"P": "P", "M": "m", "m": "M", "A": "d", "d": "A"}[interval.name[0]]
            assert inverted.name[0] == swapped


@pytest.mark.parametrize(
    ("first", "second", "name"),
    # Worked examples of Gehrkens, Music Notation and Terminology (1914), sections 183-195.
    [
        ("C4", "G#4", "A5"),
        ("B3", "C4", "m2"),
        ("B3", "C#4", "M2"),
        ("F4", "G#4", "A2"),
        ("C4", "C#4", "A1"),
        ("C4", "Ebb4", "d3"),
        ("C#4", "F4", "d4"),
        ("C4", "F#4", "A4"),
        ("C4", "Gb4", "d5"),
        ("C4", "Bbb4", "d7"),
        ("E4", "C5", "m6"),
    ],
)
def test_worked_examples_of_a_handbook(first, second, name):
    assert from_text(first, second).name == name
    assert from_text(second, first).name == name


@pytest.mark.parametrize(
    ("pitches", "name", "half_step", "text", "mark"),
    [
        ("G4 F#4", "m2", True, "half step below G4", f"G{MINUS}{HALF}"),
        ("G4 Ab4", "m2", True, "half step above G4", f"G+{HALF}"),
        ("F4 F#4", "A1", True, "chromatic half step above F4", f"=F+{HALF}"),
        ("F#4 F4", "A1", True, "chromatic half step below F#4", f"=F#{MINUS}{HALF}"),
        ("F#4 F#4", "P1", False, "same pitch as F#4", "=F#"),
        ("G4 A4", "M2", False, "whole step above G4", "G+1"),
        ("G4 F4", "M2", False, "whole step below G4", f"G{MINUS}1"),
        ("G4 E4", "m3", False, "minor third below G4", f"G{MINUS}m3"),
        ("D4 G4", "P4", False, "perfect fourth above D4", "D+P4"),
        ("D4 D3", "P8", False, "octave below D4", f"D{MINUS}P8"),
        ("D4 D6", "P15", False, "double octave above D4", "D+P15"),
        ("G4 Ab5", "m9", False, "minor ninth above G4", "G+m9"),
        ("C#5 F5", "d4", False, "diminished fourth above C#5", "C#+d4"),
        ("F4 B#4", "AA4", False, "doubly augmented fourth above F4", "F+AA4"),
        ("F#4 Gb4", "d2", False, "diminished second above F#4", "F#+d2"),
        ("Bb3 G#4", "A6", False, "augmented sixth above Bb3", "Bb+A6"),
        ("C#4 Ebb4", "dd3", False, "doubly diminished third above C#4", "C#+dd3"),
        ("F4 Fx4", "AA1", False, "doubly augmented unison above F4", "=F+AA1"),
        ("C4 D7", "M23", False, "major 23rd above C4", "C+M23"),
    ],
)
def test_what_a_student_reads(pitches, name, half_step, text, mark):
    anchor, note = pitches.split()
    interval = from_text(anchor, note)
    assert interval.name == name
    assert interval.is_half_step is half_step
    assert describe(interval, parse_pitch(anchor)) == text
    assert short(interval, parse_pitch(anchor)) == mark
    assert short(interval, parse_pitch(anchor).pitch_class) == mark


def test_one_key_away_is_not_always_a_half_step():
    # C#4 to Ebb4 spans one key and is spelled over three letters.
    assert from_text("C#4", "Ebb4").semitones == 1
    assert not from_text("C#4", "Ebb4").is_half_step
    # A second spelled upwards that sounds a half step lower: triply diminished, not minor.
    assert from_text("C#4", "Dbb4").semitones == -1
    assert not from_text("C#4", "Dbb4").is_half_step


def test_letters_decide_the_direction_and_half_steps_only_the_unison():
    assert from_text("F#4", "F4").direction == "below"
    assert from_text("F#4", "Gb4").direction == "above"
    assert from_text("C#4", "Dbb4").direction == "above"
    assert from_text("Gb4", "F#4").direction == "below"


@pytest.mark.parametrize(
    ("anchor", "note", "name", "text", "mark"),
    [
        ("F4", "F(+1/2)4", "1(1/2)", "interval of 1/2 half step above F4", f"=F+{QUARTER}"),
        (
            "G4",
            "F(+1/2)4",
            "2(3/2)",
            "interval of 1 1/2 half steps below G4",
            f"G{MINUS}{THREE_QUARTERS}",
        ),
        (
            "F(+1/2)4",
            "G(-5/3)4",
            "2(-1/6)",
            "interval of -1/6 half step above F(+1/2)4",
            f"F(+1/2)+({MINUS}1/12)",
        ),
    ],
)
def test_microtones_are_named_by_exact_size(anchor, note, name, text, mark):
    interval = from_text(anchor, note)
    assert interval.name == name
    assert not interval.is_half_step
    assert describe(interval, parse_pitch(anchor)) == text
    assert short(interval, parse_pitch(anchor)) == mark


def test_microtones_that_cancel_leave_a_plain_interval():
    interval = from_text("F(+1/2)4", "G(+1/2)4")
    assert interval == Interval(1, 2)
    assert type(interval.semitones) is int
    assert (Interval(0, Fraction(1, 2)) + Interval(0, Fraction(1, 2))).name == "A1"


def test_a_half_step_between_two_microtones_is_one():
    assert from_text("E(+1/2)4", "F(+1/2)4").name == "m2"


def test_mark_takes_a_pitch_class():
    assert short(Interval(-1, -1), parse_pitch_class("G")) == f"G{MINUS}{HALF}"


@pytest.mark.parametrize("name", ["", "P3", "M5", "m4", "d1", "m1", "P0", "A", "X2", "m-2", "M1e9"])
def test_what_names_no_interval_is_refused(name):
    with pytest.raises(OptionError, match="names no interval"):
        interval_named(name)


def test_ordinals_beyond_the_fifteenth():
    # English ordinals, for intervals no word of the trade covers.
    names = {"m16": "minor 16th", "M21": "major 21st", "P22": "triple octave", "m23": "minor 23rd"}
    assert {name: interval_named(name).words for name in names} == names
    assert interval_named("M111").words == "major 111th"
    assert interval_named("M112").words == "major 112th"


def test_many_times_augmented():
    assert Interval(3, 10).words == "quintuply augmented fourth"
    assert Interval(3, 11).words == "6 times augmented fourth"
