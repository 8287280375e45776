"""What each accidental hangs on."""

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import parse_lesson


def hung(score, lesson=None, **options):
    """``accidental<anchor/runner-up`` for each accidental, by id."""
    notes = analyse(score, lesson, **options).parts[0].accidentals
    return " ".join(
        f"{n.place.id}<{n.anchor.place.id if n.anchor else '-'}"
        + (f"/{n.runner_up.place.id}" if n.runner_up else "")
        for n in notes
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # The nearest, before or after.
        ("G4 F#4!:1/2 C5:1/2 C5 A4", "n2<n1"),
        ("G4:2 F#4! A4", "n2<n3"),
        # A tie: the smaller Pythagorean interval, so the diatonic half step.
        ("G4 F#4! D4 C5", "n2<n1/n3"),
        ("D4 F#4! G4 C5", "n2<n3/n1"),
        # The diatonic half step (90 cents) comes before the chromatic one (114 cents).
        ("(C5 F4) F#4! G4", "n3<n4/n2"),
        ("G4 F#4! (C5 F4)", "n2<n1"),
        # In the same slur before the smaller interval.
        ("G4 (F#4! D4) C5", "n2<n3/n1"),
        ("(D4 F#4!) G4 C5", "n2<n1/n3"),
        ("A4 (C4 F#4! D4) G4", "n3<n4"),
        # Equal in all this: the later.
        ("G4 F#4! G4 C5", "n2<n3/n1"),
        # A chord partner is nearest of all, also held into the chord.
        ("G4:1/2 F#4!+D4:1/2 G4 C5:2", "n2<n3"),
        ("D4~:1/2 F#4!+~D4:1/2 G4:1/4 C5", "n2<n1"),
        # A grace note's onset is that of the note it leans on.
        ("C5 gF#4! G4 C5 C5", "n2<n3"),
        # Never the note itself.
        ("C5 (C5 Bb4!) A4:2", "n3<n4"),
        ("C5 C5 (C5 F#4!)", "n4<-"),
        ("F4 C5 F#4! C5", "n3<-"),
        # A structural accidental is labelled too, and may be an anchor itself.
        ("(C5 F#4!) F#5! C5", "n2<- n3<n2"),
        ("(C5 F#4!) (C5 G#4!) C5", "n2<n4 n4<n2"),
    ],
)
def test_the_anchor_rule(music, text, expected):
    assert hung(music(text)) == expected


def test_an_open_string_may_be_an_accidental(music):
    (note,) = analyse(music("D4 E4! F4 G4", key=-3)).parts[0].accidentals
    assert (note.structural, note.open_string) == (True, True)
    assert str(note.anchor.place.pitch) == "D4"
    assert (note.anchor.interval.steps, note.anchor.interval.semitones) == (1, 2)


def test_the_double_of_a_note_is_no_anchor(music):
    # Both voices strike one F sharp; that of voice two is structural.
    score = music(["C5 C5 C5 F#4! A4:2", "r r (C4 F#4) r:2"], time="6/4")
    assert hung(score) == "n4<n5 m2<n5"


def test_a_note_of_another_voice_at_the_same_time_is_near_but_no_chord_partner(music):
    score = music(["C5 F#4!+B4 C5 A4", "r G4 r r"])
    assert hung(score) == "n2<m1"
    # The chord partner is nearer still.
    score = music(["C5 F#4!+D4 C5 A4", "r G4 r r"])
    assert hung(score) == "n2<n3"


def test_anchors_stay_in_their_part(music):
    score = music.score(music.part("C5 F#4! C5 C5"), music.part("G4 G4 G4 G4"))
    first, second = analyse(score).parts
    assert first.accidentals[0].anchor is None
    assert len(second.skeleton) == 4
    assert [n.code for n in analyse(score).notices if n.part == "P1"].count("no-anchor") == 1


def test_intervals_point_from_the_anchor(music):
    below, above = analyse(music("G4 F#4! C5 (C5 | F5) F#5! C5 C5")).parts[0].accidentals
    assert (below.anchor.interval.name, below.anchor.interval.direction) == ("m2", "below")
    assert (above.anchor.interval.name, above.anchor.interval.direction) == ("A1", "above")
    assert (above.anchor.interval.steps, above.anchor.interval.semitones) == (0, 1)


def test_microtones_are_hung_as_well(music):
    xml = music.document(music.part("G4 F4 C5 C5")).decode()
    xml = xml.replace("<step>F</step><alter>0</alter>", "<step>F</step><alter>0.5</alter>")
    from skeleton.score.reading import read_bytes

    (note,) = analyse(read_bytes(xml.encode(), "quarter tones")).parts[0].accidentals
    assert str(note.anchor.place.pitch) == "G4"
    assert float(note.anchor.interval.semitones) == -1.5


@pytest.mark.parametrize(
    ("anchor", "expected"),
    [("n1", "n3<n1"), ("C5", "n3<n4"), ("D4", "n3<n1"), ("D", "n3<n1"), ("G", "n3<n5")],
)
def test_the_lesson_chooses_the_anchor(music, anchor, expected):
    score = music("D4 A4 F#4! C5 | G4 C5 C5 C5")
    assert hung(score) == "n3<n2"
    lesson = parse_lesson(f'[[note]]\nid = "n3"\nanchor = "{anchor}"')
    assert hung(score, lesson) == expected
    # What the lesson hangs a note on is structural.
    part = analyse(score, lesson).parts[0]
    chosen = next(n for n in part.skeleton if n.place.id == part.accidentals[0].anchor.place.id)
    assert "lesson" in chosen.reasons


def test_of_two_equally_near_notes_of_a_name_the_later_is_meant(music):
    lesson = parse_lesson('[[note]]\nid = "n3"\nanchor = "C5"')
    assert hung(music("D4 C5 F#4! C5"), lesson) == "n3<n4"


def test_an_anchor_for_a_note_that_needs_none_is_said(music):
    lesson = parse_lesson('[[note]]\nid = "n1"\nanchor = "G4"')
    analysis = analyse(music("C5 G4 F#4! C5"), lesson)
    assert "lesson-no-effect" in [notice.code for notice in analysis.notices]
