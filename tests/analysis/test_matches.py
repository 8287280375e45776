"""Match groups, their labels and leans, and enharmonic twins."""

import pytest

from skeleton.analysis.analyse import analyse
from skeleton.analysis.matches import LETTERS, label


def groups(score):
    return analyse(score).parts[0].matches


def test_labels_are_no_note_names():
    assert [label(n) for n in (0, 1, 4, 14, 15, 29, 30)] == ["K", "L", "P", "Z", "K2", "Z2", "K3"]
    assert not set(LETTERS) & set("ABCDEFGH")
    assert len({label(n) for n in range(100)}) == 100


def test_groups_across_octaves_come_first(music):
    found = groups(
        music("C#5! D5 C#5 D5 | F#4! G4 F#5! G5 | Bb4! A4 C5 C5 | G#4! A4 G#5! A5 | C5 C5 C5 C#5!")
    )
    assert [(g.label, str(g.pitch_class), g.octaves, g.across_octaves) for g in found] == [
        ("K", "F#", (4, 5), True),
        ("L", "G#", (4, 5), True),
        ("M", "C#", (5,), False),
    ]
    assert [g.notes for g in found] == [("n5", "n7"), ("n13", "n15"), ("n1", "n3", "n20")]
    assert {g.part for g in found} == {"P1"}


def test_leans_by_name_of_the_anchor_and_interval(music):
    (group,) = groups(music("F#4! G4 F#5! G5 | C5 (C5 F4) F#4! | G4 F#5! C5:2"))
    assert [
        (str(n.anchor), n.interval.name, n.interval.direction, n.notes) for n in group.leans
    ] == [
        ("G", "m2", "below", ("n1", "n3", "n8")),
        ("G", "M7", "above", ("n10",)),
    ]


def test_a_lean_over_and_a_lean_under_are_two(music):
    (group,) = groups(music("F#4! G4 C5 C5 | (C5 F4) F#4! C5"))
    assert [(str(n.anchor), n.interval.name, n.notes) for n in group.leans] == [
        ("G", "m2", ("n1",)),
        ("F", "A1", ("n7",)),
    ]


def test_a_natural_an_octave_from_the_flat_is_no_return(music):
    # B flat cancelled in its own octave, then a courtesy natural in the other.
    assert groups(music("Bb4! B4! B5! A4")) == ()


def test_a_sign_and_its_double_and_its_twin_are_different_notes(music):
    assert groups(music("F#4! G4 F##4! Gb4! | C5 C5 C5 C5")) == ()


def test_groups_belong_to_their_part(music):
    score = music.score(music.part("F#4! G4 C5 C5"), music.part("F#4! G4 F#4 C5"))
    first, second = analyse(score).parts
    assert first.matches == ()
    assert [(g.label, g.part) for g in second.matches] == [("K", "P2")]


def test_members_without_anchor_are_in_no_lean(music):
    (group,) = groups(music("F#4! C5 F#4 C5"))
    assert (group.notes, group.leans) == (("n1", "n3"), ())


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("F#4! G4 Gb5! F5", [("A", "F#", "Gb")]),
        ("E#5! F5 C5 C5", []),
        ("F#4! G4 C5 C5^ | C5 C5 C5 C5 | C5 C5 C5 C5^ | Gb4! F4 C5 C5 | C5 C5 C5 C5", []),
    ],
)
def test_enharmonic_twins_within_a_passage(music, text, expected):
    twins = analyse(music(text)).parts[0].twins
    assert [(t.passage, str(t.first), str(t.second)) for t in twins] == expected
