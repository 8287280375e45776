"""What one note says: pitch, signs, marks. MusicXML 4.0 unless marked."""

from __future__ import annotations

from fractions import Fraction

import pytest

from skeleton.score.model import Sign, TimeModification
from skeleton.theory.pitch import Pitch


def pitched(step: str, alter: str | None, octave: str) -> str:
    return (
        f"<note><pitch><step>{step}</step>"
        + (f"<alter>{alter}</alter>" if alter is not None else "")
        + f"<octave>{octave}</octave></pitch><duration>4</duration></note>"
    )


@pytest.mark.parametrize(
    ("alter", "value"),
    [
        (None, 0),
        ("", 0),
        ("0", 0),
        ("1", 1),
        ("-1", -1),
        (" 1 ", 1),
        ("+1", 1),
        ("2", 2),
        ("1.0", 1),
        ("0.5", Fraction(1, 2)),
        ("-0.5", Fraction(-1, 2)),
        ("1.5", Fraction(3, 2)),
        ("-1.50", Fraction(-3, 2)),
        ("0.333", Fraction(333, 1000)),
    ],
)
def test_alterations_are_exact(read_part, alter, value):
    (each,) = read_part(pitched("F", alter, "4")).notes
    assert each.pitch == Pitch("F", value, 4)
    assert isinstance(each.pitch.alter, int) == isinstance(value, int)


@pytest.mark.parametrize(
    ("step", "alter", "octave"),
    [("H", None, "4"), ("", None, "4"), ("F", "sharp", "4"), ("F", "1/2", "4"), ("F", None, "x"),
     ("F", "1e2", "4"), ("F", None, "4.5"), ("F", "99", "4"), ("F", None, "99"), ("F", "1_0", "4")],
)  # fmt: skip
def test_an_unreadable_pitch_is_left_out(read_score, note, step, alter, octave):
    score = read_score(pitched(step, alter, octave) + note("A4", 4))
    odd, good = score.parts[0].notes
    assert odd.pitch is None
    assert not odd.is_attack
    assert good.onset_quarters == 1
    assert [each.code for each in score.notices] == ["bad-pitch"]


@pytest.mark.parametrize(
    ("xml", "sign"),
    [
        ("<accidental>sharp</accidental>", Sign("sharp")),
        ('<accidental cautionary="yes">sharp</accidental>', Sign("sharp", cautionary=True)),
        ('<accidental editorial="yes">sharp</accidental>', Sign("sharp", editorial=True)),
        ('<accidental parentheses="yes">sharp</accidental>', Sign("sharp", enclosed=True)),
        ('<accidental bracket="yes">sharp</accidental>', Sign("sharp", enclosed=True)),
        ('<accidental cautionary="no">sharp</accidental>', Sign("sharp")),
        ("<accidental/>", None),
        ("", None),
    ],
)
def test_printed_signs(read_part, note, xml, sign):
    assert read_part(note("F#4", 4, xml)).notes[0].sign == sign


@pytest.mark.parametrize(
    ("name", "alter"),
    # MusicXML 4.0, accidental-value
    [("sharp", "1"), ("natural", "0"), ("flat", "-1"), ("double-sharp", "2"), ("flat-flat", "-2"),
     ("sharp-sharp", "2"), ("natural-sharp", "1"), ("natural-flat", "-1"),
     ("quarter-sharp", "0.5"), ("quarter-flat", "-0.5"), ("three-quarters-sharp", "1.5"),
     ("three-quarters-flat", "-1.5"), ("triple-sharp", "3"), ("triple-flat", "-3")],
)  # fmt: skip
def test_a_sign_that_contradicts_the_sound_is_noticed(read_score, name, alter):
    sign = f"<accidental>{name}</accidental></note>"
    right = pitched("F", alter, "4").replace("</note>", sign)
    wrong = pitched("F", "0.25", "4").replace("</note>", sign)
    assert read_score(right).notices == ()
    score = read_score(wrong)
    assert [each.code for each in score.notices] == ["sign-contradicts-alter"]
    assert score.parts[0].notes[0].pitch.alter == Fraction(1, 4)


def test_signs_of_other_traditions_are_not_judged(read_score, note):
    assert read_score(note("F4", 4, accidental="koron")).notices == ()


def test_marks_of_the_player(read_part, note):
    inside = (
        "<notations><technical><fingering>1</fingering><fingering>4</fingering>"
        "<string>2</string><open-string/></technical></notations>"
        "<notations><technical><harmonic/></technical><fermata/></notations>"
    )
    (each,) = read_part(note("A4", 4, inside)).notes
    assert each.fingering == ("1", "4")
    assert each.string == 2
    assert each.open_string
    assert each.harmonic
    assert each.fermata


def test_value_dots_and_tuplet(read_part, note):
    inside = (
        "<type>eighth</type><dot/><dot/><time-modification><actual-notes>3</actual-notes>"
        "<normal-notes>2</normal-notes></time-modification>"
    )
    (each,) = read_part(note("A4", 4, inside)).notes
    assert (each.type, each.dots) == ("eighth", 2)
    assert each.time_modification == TimeModification(3, 2)


def test_hidden_notes_sound(read_part, note):
    (each,) = read_part(note("A4", 4, attributes=' print-object="no"')).notes
    assert not each.printed
    assert each.is_attack


def test_rests_and_unpitched_are_no_attacks(read_part, note):
    unpitched = "<note><unpitched/><duration>4</duration></note>"
    part = read_part(note("r", 4) + unpitched + note("A4", 4))
    assert [each.kind for each in part.notes] == ["rest", "unpitched", "note"]
    assert [each.is_attack for each in part.notes] == [False, False, True]
    assert [each.sounds for each in part.notes] == [False, True, True]


@pytest.mark.parametrize("text", ["", "0", "-1", "one"])
def test_an_odd_staff_is_the_first(read_part, note, text):
    assert read_part(note("A4", 4, f"<staff>{text}</staff>")).notes[0].staff == 1
