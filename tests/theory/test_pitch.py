from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.errors import OptionError
from skeleton.theory.pitch import Pitch, PitchClass, make_pitch, parse_pitch, parse_pitch_class

ALTERS = st.integers(-6, 6) | st.fractions(-3, 3, max_denominator=8)
PITCHES = st.builds(make_pitch, st.sampled_from("CDEFGAB"), ALTERS, st.integers(-2, 10))


@given(PITCHES)
def test_what_is_written_is_read_back(pitch):
    assert parse_pitch(str(pitch)) == pitch
    assert parse_pitch_class(str(pitch.pitch_class)) == pitch.pitch_class


@pytest.mark.parametrize(
    ("text", "midi", "diatonic"),
    [
        # MIDI: middle C is 60. MusicXML and scientific pitch notation: octave 4 begins there,
        # and the number belongs to the letter, so B#3 and C4 share a key and no octave number.
        ("C4", 60, 28),
        ("A4", 69, 33),
        ("B#3", 60, 27),
        ("Cb4", 59, 28),
        ("Cx5", 74, 35),
        ("Dbb5", 72, 36),
        ("C-1", 0, -7),
    ],
)
def test_key_and_letter_of_a_pitch(text, midi, diatonic):
    pitch = parse_pitch(text)
    assert (pitch.midi, pitch.diatonic) == (midi, diatonic)


def test_quarter_tones_stay_exact():
    pitch = parse_pitch("F(+1/2)4")
    assert pitch == Pitch("F", Fraction(1, 2), 4)
    assert pitch.midi == Fraction(131, 2)
    assert pitch.is_microtone
    assert str(pitch) == "F(+1/2)4"


def test_lower_case_and_blanks_are_read():
    assert parse_pitch(" bb3 ") == Pitch("B", -1, 3)
    assert parse_pitch("b3") == Pitch("B", 0, 3)


@pytest.mark.parametrize(
    "text",
    ["", "H4", "F#", "4", "F#b4", "F(+1/0)4", "C123456789", "F 4", "F(1/2)4", "F####### 4"],
)
def test_no_pitch_is_refused_in_one_line(text):
    with pytest.raises(OptionError, match="is no pitch; write a letter") as caught:
        parse_pitch(text)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["", "F#4", "#", "Q"])
def test_no_note_name_is_refused(text):
    with pytest.raises(OptionError, match="is no note name"):
        parse_pitch_class(text)


@pytest.mark.parametrize(
    ("text", "place"),
    # Line of fifths: FCGDAEB, then the sharps 7 on and the flats 7 back (arithmetic).
    [("C", 0), ("F", -1), ("B", 5), ("F#", 6), ("Bb", -2), ("G#", 8), ("Ab", -4), ("Fx", 13)],
)
def test_line_of_fifths(text, place):
    assert parse_pitch_class(text).line_of_fifths == place


def test_enharmonic_twins_share_a_key_and_no_name():
    sharp, flat = PitchClass("F", 1), PitchClass("G", -1)
    assert sharp.chroma == flat.chroma == 6
    assert sharp != flat


def test_microtones_stand_in_no_line_of_fifths():
    with pytest.raises(OptionError, match="is a microtone"):
        _ = PitchClass("F", Fraction(1, 2)).line_of_fifths
