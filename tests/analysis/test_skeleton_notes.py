"""The skeleton: rules on slurs, names of open strings, and the reasons."""

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.lesson import Lesson, parse_lesson
from skeleton.theory.instrument import INSTRUMENTS


def by_rule(score, rule="second", **options):
    part = analyse(score, rule=rule, **options).parts[0]
    return [f"{n.place.id} {n.place.pitch}" for n in part.skeleton if "slur" in n.reasons]


# What a teacher expects of the second note of a slur.
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("(F5:1/2 Eb5:1/2 D5:1/2 C5:1/2 B4:1/2 A4:1/2 G4:1/2 F4:1/2)", ["n2 Eb5"]),
        ("(gD5 D5)", []),
        ("(gG4 G4 F4)", ["n3 F4"]),
        ("(G4 gG4 F4)", ["n3 F4"]),
        ("C5~ (~C5 D5 C5)", ["n3 D5"]),
        ("r r r (C5~ | ~C5 B4)", ["n3 B4"]),
        ("((F4 C5) (B4 F4))", ["n2 C5", "n4 F4"]),
        ("(F4 (C5 B4) F4)", ["n3 B4"]),
        ("(E5 E5)", ["n2 E5"]),
        ("(C4 B4 h)", ["n2 B4"]),
        ("(C4 (B4) C5)", ["n2 B4", "n3 C5"]),
        ("(C4 B4~ ~B4 C5)", ["n2 B4"]),
        ("(C4 F4+B4) C5", ["n2 F4", "n3 B4"]),
        ("(C4+F4 B4) C5", ["n3 B4"]),
        ("((C4 B4)) C5", ["n2 B4"]),
        ("(C4 r B4) C5", ["n2 B4"]),
        ("(C4 qD4 B4) C5", ["n3 B4"]),
    ],
)
def test_the_second_note(music, text, expected):
    assert by_rule(music(text)) == expected


RULES = "(C4 B4) (C5 F4 B4) | (F4 C4 B4 C5)"


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("second", ["n2 B4", "n4 F4", "n7 C4"]),
        ("first", ["n1 C4", "n3 C5", "n6 F4"]),
        ("last", ["n2 B4", "n5 B4", "n9 C5"]),
        ("pairs", ["n2 B4"]),
    ],
)
def test_the_other_rules_on_slurs(music, rule, expected):
    assert by_rule(music(RULES), rule) == expected


def test_first_takes_the_attack_of_a_held_note(music):
    assert by_rule(music("C5~ (~C5 B4) C5"), "first") == ["n1 C5"]


def test_the_length_of_the_slur_is_kept(music):
    part = analyse(music("(F5 Eb5 D5 C5)")).parts[0]
    assert [(str(n.place.pitch), n.slur_notes) for n in part.skeleton] == [("Eb5", 4), ("D5", 0)]


def test_an_outer_slur_without_inner_events_still_counts(music):
    # The inner slur joins a grace note to its note: one event, no slur of its own.
    assert by_rule(music("(C5 (gB4 F4) B4)")) == ["n3 F4"]


# Beats: compound metres and sums as common practice has them, no source.
@pytest.mark.parametrize(
    ("time", "text", "expected"),
    [
        ("4/4", "C4:1/2 F4:1/2 C4:1/2 F4:1/2 C4:1/2 F4:1/2 C4:1/2 F4:1/2", "1 3 5 7"),
        ("2/2", "C4 F4 C4 F4", "1 3"),
        ("6/8", "C4:1/2 F4:1/2 C4:1/2 F4:1/2 C4:1/2 F4:1/2", "1 4"),
        ("3/8", "C4:1/2 F4:1/2 C4:1/2", "1 2 3"),
        ("3+2/8", "C4:1/2 F4:1/2 C4:1/2 F4:1/2 C4:1/2", "1 4"),
        ("5/8", "C4:1/2 F4:1/2 C4:1/2 F4:1/2 C4:1/2", "1 2 3 4 5"),
        ("2/4", "C4:1/3 F4:1/3 C4:1/3 gB4 F4", "1 5"),
        ("2/4", "C4:3/2 F4~:1/2 | ~F4 B4", "1 4"),
    ],
)
def test_notes_on_the_beat(music, time, text, expected):
    found = by_rule(music(text, time=time), "on-beat")
    assert [one.split()[0][1:] for one in found] == expected.split()


def test_a_pickup_is_counted_from_its_end(music):
    score = music("F4:1/2 | C4 B4:1/2 F4:1/2 C4 B4", pickup=True)
    assert by_rule(score, "on-beat") == ["n2 C4", "n3 B4", "n5 C4", "n6 B4"]
    assert by_rule(music("F4:1/2 C4 | C4", pickup=True), "on-beat") == ["n2 C4", "n3 C4"]


def named(score, **options):
    part = analyse(score, **options).parts[0]
    return [f"{n.place.pitch}={n.open_string}" for n in part.skeleton if "open-string" in n.reasons]


def test_names_of_open_strings(music):
    score = music("G5 D6 F##4 A#4 E4:1/2 E4~:1/2 | ~E4 gA5 C4+D4 Fb5 C4")
    assert named(score) == ["G5=G3", "D6=D4", "E4=E5", "E4=E5", "A5=A4", "D4=D4"]
    assert named(score, instrument=INSTRUMENTS["cello"])[-2:] == ["D4=D3", "C4=C2"]


def test_names_are_compared_as_they_sound(music):
    down = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    # Written A sounds G; written G sounds F.
    assert named(music("A4 G4 B4 F#5", attributes=down)) == ["A4=G3", "B4=A4", "F#5=E5"]
    octave = (
        "<transpose><diatonic>0</diatonic><chromatic>0</chromatic>"
        "<octave-change>-1</octave-change></transpose>"
    )
    bass = music("E2 A2 D3 B2", attributes=octave, name="Contrabass")
    assert named(bass) == ["E2=E1", "A2=A1", "D3=D2"]


def test_reasons_of_one_note_and_of_chord_members(music):
    part = analyse(music("(C5 D5) (C5 F4+A4)")).parts[0]
    assert [(n.place.id, n.reasons) for n in part.skeleton] == [
        ("n2", ("slur", "open-string")),
        ("n4", ("slur",)),
        ("n5", ("slur", "open-string")),
    ]


def test_the_lesson_adds_and_takes_away(music):
    score = music("(C5 D5) (C5 F4+A4)")
    lesson = parse_lesson(
        '[[note]]\nid = "n1"\nskeleton = true\n[[note]]\nid = "n2"\nskeleton = false\n'
        '[[note]]\nmeasure = "1"\nbeat = 4\npitch = "F4"\nskeleton = true\n'
    )
    part = analyse(score, lesson).parts[0]
    assert [(n.place.id, n.reasons) for n in part.skeleton] == [
        ("n1", ("lesson",)),
        ("n4", ("slur", "lesson")),
        ("n5", ("slur", "open-string")),
    ]


def test_slurs_that_cross_voices_take_events_of_both(music):
    # A slur that starts in one voice and stops in the other, as string crossings are written.
    xml = music.document(music.part(["C5:1/2 h:1/2", "h:1/2 F4:1/2"], time="1/4")).decode()
    first, second = 'id="n1">', 'id="m1">'
    for name, kind in ((first, "start"), (second, "stop")):
        head, tail = xml.split(name)
        tail = tail.replace("<notations>", f'<notations><slur number="1" type="{kind}"/>', 1)
        xml = head + name + tail
    from skeleton.score.reading import read_bytes

    assert by_rule(read_bytes(xml.encode(), "crossing")) == ["m1 F4"]


def test_defaults():
    assert Lesson().rule == "second"
