"""Which notes count as accidentals, read from scores."""

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.keys import major_name, parse_key
from skeleton.errors import OptionError


def found(score, **options):
    """Pitches of the accidentals; a + where a sign is printed, k where only the key alters."""
    notes = analyse(score, **options).parts[0].accidentals
    return [f"{n.place.pitch}{'+' * n.printed}{'k' * n.from_key}" for n in notes]


@pytest.mark.parametrize(
    ("text", "key", "expected"),
    [
        ("F#4! F#4 F4! F4", 0, ["F#4+", "F#4", "F4+"]),
        ("F#4 F4! F#4! C5", 1, ["F4+", "F#4+"]),
        # Every altered note with its sign, though the signature has it: courtesy.
        ("F#4! G4 F#4! G4", 1, []),
        ("F#4! G4 A4 B4 | F4! G4 A4 B4", 0, ["F#4+"]),
        # A natural an octave from the flat is a courtesy.
        ("Bb4! A4 B5! A4", 0, ["Bb4+"]),
        # A tie over the barline carries for its note only.
        ("C4 C4 C4 F#4!~ | ~F#4 F4! F#4! C4", 0, ["F#4+", "F#4+"]),
        ("gF#4! G4 F4! E4", 0, ["F#4+", "F4+"]),
        ("qF#4! G4 F4! E4", 0, []),
        ("Bb4 C5 B4! Bb4!", -1, ["B4+", "Bb4+"]),
    ],
)
def test_accidental_notes(music, text, key, expected):
    assert found(music(text, key=key)) == expected


def test_a_sign_holds_across_the_voices_of_a_staff(music):
    # In time order the natural follows the sharp, though the file writes it first.
    score = music(["C5 C5 F4! C5", "D4 F#4! D4 D4"])
    assert found(score) == ["F#4+", "F4+"]


def test_a_grace_note_comes_before_the_other_voice_s_note_of_its_time(music):
    assert found(music(["C5 F4! C5", "D4 gF#4! D4 D4"])) == ["F#4+", "F4+"]


def test_a_part_without_any_sign_keeps_its_restored_notes(music):
    assert found(music("F#4 G4 F4 F4")) == ["F#4", "F4"]
    # One printed sign and the file's signs are believed.
    assert found(music("F#4 G4 F4 C#5!")) == ["F#4", "C#5+"]


def test_key_signs_on_request(music):
    score = music("F#4 G4 F4! F#4!", key=1)
    assert found(score) == ["F4+", "F#4+"]
    assert found(score, key_signs=True) == ["F#4k", "F4+", "F#4+"]


def test_an_assumed_key(music):
    score = music("F#4! C#5! F4! F#4! | C5! G4 C#5! G4", key=0)
    assert found(score, key=parse_key("D major")) == ["F4+", "F#4+", "C5+", "C#5+"]


def test_key_changes_count_from_where_they_stand(music):
    change = "<attributes><key><fifths>2</fifths></key></attributes>"
    score = music("F#4! C#5! G4 G4 | F#4 C#5 C5! G4", starts={1: change})
    assert found(score) == ["F#4+", "C#5+", "C5+"]


LOST = "F#4! G4 C#5! B4 | F#5! G4 C#5! B4 | F#4! G4 C#5! B4 | F#5! G4 C#5! B4"


def codes(score, **options):
    return [notice.code for notice in analyse(score, **options).notices]


def test_a_lost_signature_is_named(music):
    notices = analyse(music(LOST)).notices
    (lost,) = [notice for notice in notices if notice.code == "key-signature-lost"]
    assert '--key "D major"' in lost.message
    assert lost.part == "P1"
    flats = LOST.replace("B4", "A4").replace("F#", "Bb").replace("C#", "Eb")
    (lost,) = [n for n in analyse(music(flats)).notices if n.code == "key-signature-lost"]
    assert '--key "Bb major"' in lost.message


def test_no_signature_is_lost_where_one_is_given_or_the_letters_vary(music):
    assert "key-signature-lost" not in codes(music(LOST, key=2))
    assert "key-signature-lost" not in codes(music(LOST), key=parse_key(2))
    assert "key-signature-lost" not in codes(music(LOST.replace("C#5!", "C5")))
    assert "key-signature-lost" not in codes(music("F#4! C#5! F#4 C#5"))


def test_skeleton_and_anchors_are_the_same_either_way(music):
    slurred = LOST.replace("G4", "G4)").replace("F#", "(F#")
    plain = analyse(music(slurred)).parts[0]
    given = analyse(music(slurred), key=parse_key("D major"), key_signs=True).parts[0]
    assert plain.skeleton == given.skeleton
    assert [(n.place, n.anchor) for n in plain.accidentals] == [
        (n.place, n.anchor) for n in given.accidentals
    ]
    assert len(plain.accidentals) == 8


# Signatures of the keys: any primer of music theory (the circle of fifths).
@pytest.mark.parametrize(
    ("text", "fifths"),
    [
        ("C major", 0), ("a minor", 0), ("G major", 1), ("e minor", 1), ("D", 2), ("F# minor", 3),
        ("f sharp minor", 3), ("B major", 5), ("C# major", 7), ("F major", -1), ("Bb major", -2),
        ("b flat minor", -5), ("Eb-major", -3), ("Cb major", -7), ("Dm", -1), ("D dorian", 0),
        (-3, -3), ("2", 2), ("bb minor", -5), ("B minor", 2),
    ],
)  # fmt: skip
def test_keys_by_name(text, fifths):
    key = parse_key(text)
    assert key.fifths == fifths
    order = "FCGDAEB" if fifths > 0 else "BEADGCF"
    assert {letter for letter, _ in key.alters} == set(order[: abs(fifths)])
    assert all(alter == (1 if fifths > 0 else -1) for _, alter in key.alters)


@pytest.mark.parametrize("text", ["H major", "d", "G# major", "D majr", "", "8", -8, "Fb major"])
def test_keys_that_are_none(text):
    with pytest.raises(OptionError, match="major"):
        parse_key(text)


def test_major_names_come_back():
    names = ["Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#"]
    assert [major_name(parse_key(n)) for n in range(-7, 8)] == [f"{n} major" for n in names]
